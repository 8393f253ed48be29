"""Diagnostics that speak: what to look at before believing a fit, one sentence each."""

from __future__ import annotations

import warnings
from collections.abc import Hashable, Iterator

import numpy as np
import pandas as pd
from scipy.special import fdtrc, stdtrit

from trialkit.errors import ModelError, ModelWarning
from trialkit.language import figures, say
from trialkit.models.findings import Finding
from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import MixedFit
from trialkit.models.pass_checks import pass_findings
from trialkit.models.records import Floats, rows_used, tidy
from trialkit.models.residuals import additive_columns, strip_residuals

#: Chance that a trial without fault is flagged.
_LEVEL = 0.05
#: Standard errors by which one strip may move a difference; our own choice.
_MOVES = 1.0
#: Leverage above so many times the mean is high (Hoaglin and Welsch 1978, American
#: Statistician 32:17-22).
_HIGH_LEVERAGE = 2.0


def leave_one_out(
    fit: MixedFit,
    strips: pd.DataFrame,
    factor: str,
    strip: str,
    against: object | None = None,
) -> pd.DataFrame:
    """Fit again without each strip in turn, to see whether one strip decides.

    Parameters
    ----------
    fit
        The fit of the strip yields.
    strips
        The table it was fitted to.
    factor
        The column of treatments.
    strip
        The column of strips.
    against
        Treatment to subtract; None for all pairs.

    Returns
    -------
    DataFrame
        Columns `left_out`, the strip, then those of `MixedFit.differences`, and `change`, the
        estimate less that of the full fit; one row for each strip and difference. A strip without
        which the model cannot be fitted has no rows.

    Raises
    ------
    ModelError
        If the fit has correlation along the pass or a surface; give the fit of strip yields.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "strip": ["S1", "S2", "S3", "S4", "S5", "S6"],
    ...     "block": list("112233"),
    ...     "treatment": ["dressed", "untreated"] * 3,
    ...     "yield_t_ha": [3.2, 3.0, 2.7, 2.6, 3.5, 3.1],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    >>> table = leave_one_out(fit, strips, "treatment", "strip", against="untreated")
    >>> table["estimate"].round(2).tolist()
    [0.24, 0.26, 0.32, 0.28, 0.15, 0.15]
    """
    random = _random_terms(fit)
    method = None if fit.df_method == "residual" else fit.df_method
    full = fit.differences(factor, against)["estimate"]
    tables = []
    for name in strips[strip].dropna().unique():
        rest = strips[strips[strip] != name]
        try:
            with warnings.catch_warnings():
                # Five or six strips may leave a search without an end; its figures are dropped.
                warnings.simplefilter("error", ModelWarning)
                again = fit_mixed(fit.formula, rest, random, df=method, confidence=fit.confidence)
                table = again.differences(factor, against)
        except (ModelError, ModelWarning):
            continue
        table["change"] = table["estimate"] - full.reindex(table.index)
        table.insert(0, "left_out", name)
        tables.append(table)
    if not tables:
        raise ModelError("Without any of its strips the model cannot be fitted. Add strips.")
    return pd.concat(tables)


def _random_terms(fit: MixedFit) -> list[str]:
    names = [str(name) for name in fit.variances.index if name != "residual"]
    if any(name in {"along", "range_m"} or name.startswith("surface_") for name in names):
        raise ModelError(
            "This fit has correlation along the pass or a surface, which strips left out one by "
            "one cannot be held against. Give the fit of the strip yields."
        )
    return names


def diagnose(
    fit: MixedFit,
    strips: pd.DataFrame,
    treatment: str,
    block: str | None,
    strip: str,
    *,
    against: object | None = None,
    records: pd.DataFrame | None = None,
    pass_id: str | None = None,
    distance: str | None = None,
    unit: str = "",
) -> tuple[Finding, ...]:
    """Look for what should be known before a fit is believed.

    Residuals are those of the fixed part with blocks as fixed effects, which at the level of
    strips is what the plan of the trial compares.

    Parameters
    ----------
    fit
        The fit of the strip yields, its response a column of the table.
    strips
        The table it was fitted to, one row a strip.
    treatment, block, strip
        Columns of treatment, block (None where there is none) and strip.
    against
        Treatment to subtract, such as `"untreated"`; None for all pairs.
    records
        The records of the monitor with the same response and strips; None for strips alone.
    pass_id, distance
        Columns of the records: the pass, and metres from its start.
    unit
        Unit of the response, for the sentences, such as `"t/ha"`.

    Returns
    -------
    tuple of Finding
        `odd strip`, `leverage`, `one strip decides`, `gain by block`, and with records `likeness
        of neighbours`, `reach of likeness` and `ends of passes`. What the data cannot tell is
        left out.

    Raises
    ------
    ModelError
        If a column cannot be used, or the fit is not one of strip yields.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "strip": [f"S{n}" for n in range(1, 9)],
    ...     "block": list("11223344"),
    ...     "treatment": ["dressed", "untreated"] * 4,
    ...     "yield_t_ha": [3.2, 3.0, 2.7, 2.6, 3.5, 3.1, 2.9, 2.8],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    >>> found = diagnose(fit, strips, "treatment", "block", "strip", against="untreated")
    >>> [(finding.name, finding.ok) for finding in found]
    ... # doctest: +NORMALIZE_WHITESPACE
    [('odd strip', True), ('leverage', True), ('one strip decides', True),
     ('gain by block', True)]
    """
    response = fit.formula.split("~")[0].strip().strip("`")
    if response not in strips.columns:
        raise ModelError(
            f"The response '{response}' of the fit is no plain column of the table. Fit the column "
            "itself to look at what is left of it."
        )
    table = strip_residuals(strips, response, treatment, block, strip)
    found = [_odd_strip(table, unit), _leverage(table)]
    found += list(_one_strip(fit, strips, treatment, strip, against, unit))
    if block is not None:
        found += list(_gain_by_block(strips, response, treatment, block))
    if records is not None:
        if pass_id is None or distance is None:
            raise ModelError("Say which columns of the records hold the pass and the distance.")
        found += list(pass_findings(records, response, strip, pass_id, distance, unit))
    return tuple(found)


def _odd_strip(table: pd.DataFrame, unit: str) -> Finding:
    """Hold the largest residual against what the largest of so many may be (Bonferroni)."""
    sizes = table["t"].abs().to_numpy(dtype=float)
    place = int(sizes.argmax())
    spare = len(table) - round(float(table["leverage"].sum())) - 1
    limit = float(stdtrit(spare, 1 - _LEVEL / (2 * len(table))))
    value, left = float(sizes[place]), float(table["residual"].iloc[place])
    names = [str(name) for name in table.index]
    stray = {"strip": names[place], "size": _amount(abs(left), unit)}
    twins = [names[k] for k in np.flatnonzero(np.isclose(sizes, value, rtol=1e-6)) if k != place]
    if value <= limit:
        return Finding("odd strip", value, limit, True, _by_chance(left, stray))
    told = [_odd(left, stray)]
    if len(twins) == 1:
        told.append(
            say(
                "It may as well be {strip}: two strips beside each other cannot tell.",
                strip=twins[0],
            )
        )
    told.append(
        say(
            "Look for a cause in the field book: an overlap, a blocked tube, a wet patch. Without "
            "a cause it stays in."
        )
    )
    return Finding("odd strip", value, limit, False, " ".join(told))


def _by_chance(left: float, stray: dict[str, str]) -> str:
    if left > 0:
        return say(
            "No strip stands out. Strip {strip} lies {size} above what its treatment and block "
            "give, the most of all, which chance explains.",
            **stray,
        )
    return say(
        "No strip stands out. Strip {strip} lies {size} below what its treatment and block give, "
        "the most of all, which chance explains.",
        **stray,
    )


def _odd(left: float, stray: dict[str, str]) -> str:
    if left > 0:
        return say(
            "Strip {strip} lies {size} above what its treatment and block give, more than chance "
            "explains.",
            **stray,
        )
    return say(
        "Strip {strip} lies {size} below what its treatment and block give, more than chance "
        "explains.",
        **stray,
    )


def _leverage(table: pd.DataFrame) -> Finding:
    values = table["leverage"]
    limit = _HIGH_LEVERAGE * float(values.mean())
    name, value = values.idxmax(), float(values.max())
    alone = values.index[values > 1 - 1e-9]
    if len(alone):
        names = ", ".join(str(label) for label in alone)
        sentence = say(
            "Nothing stands beside {strips} in the block or treatment: no say in the result.",
            strips=names,
        )
    elif value > limit:
        sentence = say(
            "The result leans on strip {strip} more than on others: it has fewer beside it.",
            strip=str(name),
        )
    else:
        sentence = say("The plan is even: no strip has much more weight than the others.")
    return Finding("leverage", value, limit, value <= limit and not len(alone), sentence)


def _one_strip(
    fit: MixedFit,
    strips: pd.DataFrame,
    treatment: str,
    strip: str,
    against: object | None,
    unit: str,
) -> Iterator[Finding]:
    """Say how far one strip moves each difference, and whether it turns the answer."""
    full = fit.differences(treatment, against)
    again = leave_one_out(fit, strips, treatment, strip, against)
    for label, row in full.iterrows():
        if label not in again.index:
            continue
        rows = again.loc[[label]]
        moves = (rows["change"] / row["std_error"]).abs().to_numpy()
        most = int(moves.argmax())
        settled = bool(row["low"] > 0 or row["high"] < 0)
        without = (rows["low"] > 0) | (rows["high"] < 0)
        turned = rows["left_out"][without != settled].tolist()
        sentence = say(
            "Leaving out one strip at a time, the difference of {difference} lies between "
            "{low:.2g} and {high}; strip {strip} moves it most.",
            difference=_difference(label), low=rows["estimate"].min(),
            high=_amount(rows["estimate"].max(), unit), strip=str(rows["left_out"].iloc[most]),
        )  # fmt: skip
        sentence += " " + _turned(settled, ", ".join(map(str, turned)))
        ok = not turned and bool(moves[most] <= _MOVES)
        yield Finding("one strip decides", float(moves[most]), _MOVES, ok, sentence)


def _difference(label: Hashable) -> str:
    if not isinstance(label, tuple):
        return str(label)
    first, second = map(str, label)
    return say("{first} less {second}", first=first, second=second)


def _turned(settled: bool, turned: str) -> str:
    """Say which strips turn the answer when they are left out."""
    if not turned:
        return say("The answer hangs on no single strip.")
    if settled:
        return say("Without {strips} it no longer differs from zero: be careful.", strips=turned)
    return say("Without {strips} it begins to differ from zero: be careful.", strips=turned)


def _gain_by_block(
    strips: pd.DataFrame, response: str, treatment: str, block: str
) -> Iterator[Finding]:
    """Test whether treatments differ alike in all blocks.

    With strips repeated inside blocks, the interaction against them; otherwise one degree of
    freedom for differences that grow with the yield (Tukey 1949, Biometrics 5:232-242).
    """
    rows, _ = rows_used(strips, list(dict.fromkeys([response, treatment, block])))
    table = tidy(rows, [response], [])
    values = table[response].to_numpy(dtype=float)
    additive = additive_columns(table, treatment, block)
    left, spare = _left(additive, values)
    cells = table.groupby([block, treatment], observed=True).ngroup().to_numpy()
    whole = np.eye(int(cells.max()) + 1)[cells]
    pure, repeats = _left(whole, values)
    if repeats > 0 and spare > repeats:
        terms, error, below = spare - repeats, pure @ pure, repeats
    else:
        bend = _left(additive, (values - left - values.mean()) ** 2)[0]
        size = float(bend @ bend)
        if (
            spare < 2
            or size <= 1e-20 * float((values - values.mean()) @ (values - values.mean())) ** 2
        ):
            return
        error = left @ left - (bend @ left) ** 2 / size
        terms, below = 1, spare - 1
    p = float(fdtrc(terms, below, max(float(left @ left - error), 0.0) / terms / (error / below)))
    if p >= _LEVEL:
        sentence = say(
            "The treatments differ alike in all blocks, as far as these can tell (p {p:.2g}).", p=p
        )
    elif repeats > 0:
        sentence = say(
            "The treatments do not differ alike in all blocks (p {p:.2g}): ask where it works.",
            p=p,
        )
    else:
        sentence = say(
            "The difference grows or shrinks with the yield of the block (p {p:.2g}): look at it "
            "in per cent, and ask where it works.",
            p=p,
        )
    yield Finding("gain by block", p, _LEVEL, p >= _LEVEL, sentence)


def _left(columns: Floats, values: Floats) -> tuple[Floats, int]:
    """Return what least squares leaves, and its degrees of freedom."""
    basis, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis = basis[:, sizes > 1e-9 * sizes[0]]
    return np.asarray(values - basis @ (basis.T @ values)), len(values) - basis.shape[1]


def _amount(size: float, unit: str) -> str:
    """Write a yield with its unit, where it has one."""
    return figures(f"{size:.2g}") + (f" {unit}" if unit else "")
