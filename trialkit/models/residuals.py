"""What the model leaves over: by strip, along the pass, and how far apart records stay alike."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.models.records import Floats, check_table, label_codes, rows_used, tidy

#: Share of a strip's own weight in its fitted value beyond which it is fitted exactly.
_FITTED_EXACTLY = 1 - 1e-9
#: Share of the longest pass that a variogram looks at; common practice, no source.
_HALF = 0.5
#: Lags in records up to which all are taken, and by which share the others then grow.
_EVERY_LAG, _LAG_GROWS = 200, 0.02
#: Of those others, a class holds at least one pair for so many records.
_FRINGE = 20
#: Pairs that a class of distance needs to be shown; common practice, no source.
FEWEST_PAIRS = 30


def strip_residuals(
    strips: pd.DataFrame,
    response: str,
    treatment: str,
    block: str | None = None,
    strip: str | None = None,
) -> pd.DataFrame:
    """Return what is left of each strip beside its treatment and its block.

    Parameters
    ----------
    strips
        One row a strip.
    response, treatment, block, strip
        Columns of yield, treatment, block and name; without names the index stands for them.

    Returns
    -------
    DataFrame
        Index the strip; columns `block` (where there is one) and `treatment`, `value`, `fitted`
        and `residual` in the unit of the response, `leverage` (0 to 1, the share of its own value
        in the fitted one) and `t`, the residual over an error judged by the other strips. A strip
        that nothing else tells about has leverage 1, residual 0 and t 0.

    Raises
    ------
    ModelError
        If a column cannot be used, or too few strips are left to judge by.

    Notes
    -----
    Least squares with treatment and block as fixed effects, which is what the plan of the trial
    compares; t is the externally studentised residual (Cook and Weisberg 1982, Residuals and
    Influence in Regression, section 2.2).

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "strip": ["S1", "S2", "S3", "S4", "S5", "S6"],
    ...     "block": list("112233"),
    ...     "treatment": ["dressed", "untreated"] * 3,
    ...     "yield_t_ha": [3.2, 3.0, 2.7, 2.6, 3.5, 3.1],
    ... })
    >>> table = strip_residuals(strips, "yield_t_ha", "treatment", "block", "strip")
    >>> table["residual"].round(3).tolist()
    [-0.017, 0.017, -0.067, 0.067, 0.083, -0.083]
    """
    check_table(strips)
    names = [name for name in (block, strip) if name is not None]
    rows, _ = rows_used(strips, list(dict.fromkeys([response, treatment, *names])))
    table = tidy(rows, [response], [])
    design = additive_columns(table, treatment, block)
    values = table[response].to_numpy(dtype=float)
    left, sizes, _ = np.linalg.svd(design, full_matrices=False)
    basis = left[:, sizes > 1e-9 * sizes[0]]
    spare = len(values) - basis.shape[1]
    if spare < 2:
        raise ModelError(
            f"{len(values)} strips are too few to look at what treatment and block leave over. "
            "Add strips."
        )
    leverage = np.minimum((basis**2).sum(axis=1), 1.0)
    residual = values - basis @ (basis.T @ values)
    exact = leverage > _FITTED_EXACTLY
    residual[exact] = 0.0
    index = table[strip] if strip is not None else table.index
    found = {} if block is None else {"block": table[block].to_numpy()}
    found |= {
        "treatment": table[treatment].to_numpy(),
        "value": values,
        "fitted": values - residual,
        "residual": residual,
        "leverage": leverage,
        "t": _studentised(residual, leverage, spare),
    }
    return pd.DataFrame(found, index=pd.Index(np.asarray(index), name=strip or "strip"))


def additive_columns(table: pd.DataFrame, treatment: str, block: str | None) -> Floats:
    """Return zeros and ones for each treatment and block, shape (strips, levels)."""
    names = [treatment] if block is None else [treatment, block]
    columns = []
    for name in names:
        codes, count = label_codes(table[name])
        columns.append(np.eye(count)[codes])
    return np.hstack(columns)


def _studentised(residual: Floats, leverage: Floats, spare: int) -> Floats:
    free = np.where(leverage > _FITTED_EXACTLY, 1.0, 1 - leverage)
    others = np.maximum((residual**2).sum() - residual**2 / free, 0.0) / (spare - 1)
    below = np.sqrt(others * free)
    endless = np.where(residual == 0, 0.0, np.copysign(np.inf, residual))
    return np.asarray(np.divide(residual, below, out=endless, where=below > 0))


def residuals_along(
    records: pd.DataFrame,
    response: str,
    strip: str,
    pass_id: str,
    distance: str,
) -> pd.DataFrame:
    """Return each record less the mean of its strip, in order along the passes.

    What treatments, blocks and strips did is in the means, so this is the pattern inside strips:
    soil, patches, the ends of passes.

    Parameters
    ----------
    records
        One row a record.
    response, strip, pass_id
        Columns of yield, strip and pass.
    distance
        Column of metres from the start of the pass.

    Returns
    -------
    DataFrame
        Columns `strip pass_id distance_m residual`, sorted by pass and distance.

    Raises
    ------
    ModelError
        If a column cannot be used.

    Examples
    --------
    >>> import pandas as pd
    >>> records = pd.DataFrame({
    ...     "strip": "S1", "pass_id": 1, "distance_m": [0.0, 2.0, 4.0],
    ...     "yield_t_ha": [2.0, 3.0, 4.0],
    ... })
    >>> left = residuals_along(records, "yield_t_ha", "strip", "pass_id", "distance_m")
    >>> left["residual"].tolist()
    [-1.0, 0.0, 1.0]
    """
    check_table(records)
    rows, _ = rows_used(records, list(dict.fromkeys([response, strip, pass_id, distance])))
    table = tidy(rows, [response, distance], [])
    values = table[response].to_numpy(dtype=float)
    codes, count = label_codes(table[strip])
    size = np.maximum(np.bincount(codes, minlength=count), 1)
    means = np.bincount(codes, weights=values, minlength=count) / size
    found = pd.DataFrame(
        {
            "strip": rows[strip].to_numpy(),
            "pass_id": rows[pass_id].to_numpy(),
            "distance_m": table[distance].to_numpy(dtype=float),
            "residual": values - means[codes],
        }
    )
    order = np.lexsort((found["distance_m"], label_codes(table[pass_id])[0]))
    return found.iloc[order].reset_index(drop=True)


def variogram(
    residuals: pd.DataFrame, *, step_m: float | None = None, reach_m: float | None = None
) -> pd.DataFrame:
    """Return how unlike records are with the distance between them along a pass.

    Parameters
    ----------
    residuals
        Columns `pass_id distance_m residual`, as `residuals_along` returns them.
    step_m
        Width of a class of distance, m; None for one and a half times the usual spacing.
    reach_m
        Largest distance looked at, m; None for half of the longest pass.

    Returns
    -------
    DataFrame
        Columns `distance_m`, the mean of the pairs, `semivariance`, half the mean square of their
        difference, in the unit of the response squared, and `pairs`. Classes with fewer than 30
        pairs are left out.

    Raises
    ------
    ModelError
        If no two records of a pass lie that near.

    Notes
    -----
    Matheron 1963, Economic Geology 58:1246-1266. Pairs are taken inside passes only: of records
    up to 200 apart in their pass every pair, of those farther apart every pair at lags that grow
    by a fiftieth, so that the time grows with the records and not with their square. A pass of
    400 records or fewer loses none at the usual reach.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> noise = np.random.default_rng(1).normal(0, 2, 5000)
    >>> records = pd.DataFrame(
    ...     {"pass_id": 1, "distance_m": np.arange(5000.0), "residual": noise}
    ... )
    >>> variogram(records, step_m=1, reach_m=3)["semivariance"].round(1).tolist()
    [4.0, 4.0, 4.0]
    """
    passes = label_codes(residuals["pass_id"])[0]
    order = np.lexsort((residuals["distance_m"], passes))
    at, values = (
        residuals[name].to_numpy(dtype=float)[order] for name in ("distance_m", "residual")
    )
    # Passes end to end: records of two passes are neighbours here and never a pair.
    first = np.flatnonzero(np.diff(passes[order], prepend=-1))
    last = np.append(first[1:], at.size) - 1
    spacing = np.diff(at)
    spacing[first[1:] - 1] = 0.0
    spacing = spacing[spacing > 0]
    if not spacing.size:
        raise ModelError("No pass holds two records at different places. Check the passes.")
    step = 1.5 * float(np.median(spacing)) if step_m is None else step_m
    longest = float((at[last] - at[first]).max())
    reach = _HALF * longest if reach_m is None else reach_m
    if not (step > 0 and reach > 0):
        raise ModelError(f"step_m={step} and reach_m={reach} must be above zero.")
    sums = np.zeros((3, int(np.ceil(reach / step)) + 1))
    of_pass = np.repeat(np.arange(first.size), last - first + 1)
    most = int((last - first).max())
    for lag in _lags(most):
        apart = at[lag:] - at[:-lag]
        near = (of_pass[lag:] == of_pass[:-lag]) & (apart <= reach)
        if not near.any():
            break
        square = (values[lag:] - values[:-lag])[near] ** 2
        _add_pairs(sums, apart[near], square, step)
    # Where lags were passed over, the fringes of those taken make no class of their own.
    fewest = FEWEST_PAIRS if most <= _EVERY_LAG else max(FEWEST_PAIRS, at.size // _FRINGE)
    enough = sums[0] >= fewest
    if not enough.any():
        raise ModelError(
            f"Fewer than {fewest} pairs of records lie within {reach:.4g} m of each other. "
            "Give a wider step or a larger reach."
        )
    pairs, far, square = sums[:, enough]
    return pd.DataFrame(
        {"distance_m": far / pairs, "semivariance": square / pairs / 2, "pairs": pairs.astype(int)}
    )


def _lags(most: int) -> Iterator[int]:
    """Yield lags in records: every one of the first, then ever fewer, so that time stays linear."""
    lag = 1
    while lag <= most:
        yield lag
        lag += 1 if lag < _EVERY_LAG else max(1, round(lag * _LAG_GROWS))


def _add_pairs(sums: Floats, apart: Floats, square: Floats, step: float) -> None:
    """Add number, distance and squared difference of pairs to their classes."""
    place = np.minimum(np.rint(apart / step).astype(int), sums.shape[1] - 1)
    for row, weights in enumerate((None, apart, square)):
        sums[row] += np.bincount(place, weights=weights, minlength=sums.shape[1])
