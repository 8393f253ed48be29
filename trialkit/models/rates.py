"""The response to a ladder of rates: its shape, and the rate that does best."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import fdtrc, stdtrit

from trialkit.errors import ModelError, ModelWarning
from trialkit.language import say
from trialkit.models.best_rate import find_best
from trialkit.models.estimates import check_confidence
from trialkit.models.rate_shapes import Curve, Ladder, fit_shape, knot_interval, read_ladder
from trialkit.models.records import Floats
from trialkit.shown import as_line, as_table

Shape = Literal["linear", "quadratic", "plateau"]

_SHAPES = ("linear", "quadratic", "plateau")
#: Records for each rate of each block beyond which they look like points of strips.
_POINTS = 20
#: A p below this is called a response in the sentence.
_LEVEL = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class RateResponse:
    """A response to rates, and what it says of the best rate.

    Parameters
    ----------
    shape
        `"linear"`, `"quadratic"` or `"plateau"`.
    coefficients
        Index `intercept`, the mean of the blocks at rate zero, `slope` and `bend` (a + b x +
        c x²) or `knot` (a + b min(x, knot)); columns `estimate std_error df low high`. The error
        of a knot is linearised, its interval by profile likelihood.
    residual_sd
        Standard deviation between strips beside the curve, in the unit of the response.
    statistic, p
        F of the curve against no response, and the chance of a larger one were there none. For a
        plateau the knot counts as one degree of freedom, which is approximate.
    best_rate
        The rate inside those sown at which the last unit just pays, or where there is none, the
        better of the two ends.
    best_low, best_high
        Its interval, not cut at the rates sown; infinite where the strips do not fix it.
    optimum_inside
        Whether the curve has an optimum inside the rates sown. That it has none may be right.
    confidence
        Level of all intervals.
    price_ratio
        Response that one unit of rate must bring to pay for itself.
    sentence
        What this says, in words.
    notes
        Sentences on records left out.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    shape: str
    coefficients: pd.DataFrame
    residual_sd: float
    statistic: float
    p: float
    best_rate: float
    best_low: float
    best_high: float
    optimum_inside: bool
    confidence: float
    price_ratio: float
    sentence: str
    notes: tuple[str, ...]
    _curve: Curve = field(repr=False)

    def curve(self, at: ArrayLike) -> pd.DataFrame:
        """Return the response at rates, for a table or a picture.

        Parameters
        ----------
        at
            Rates.

        Returns
        -------
        DataFrame
            Columns `rate estimate std_error df low high`: the mean of the blocks at each rate.
        """
        rates = np.atleast_1d(np.asarray(at, dtype=float))
        gradient = self._curve.gradient(rates)
        moved = gradient @ np.nan_to_num(self._curve.covariance, posinf=0.0)
        errors = np.sqrt((moved * gradient).sum(axis=1))
        table = _table(self._curve.height(rates), errors, self._curve.spare, self.confidence)
        table.insert(0, "rate", rates)
        return table


def rate_response(
    data: pd.DataFrame,
    response: str,
    rate: str,
    block: str | None = None,
    shape: Shape = "quadratic",
    *,
    price_ratio: float = 0.0,
    confidence: float = 0.95,
) -> RateResponse:
    """Fit a response to rates, and find the rate that does best.

    Parameters
    ----------
    data
        One row a strip. Points of a monitor are no replicates: average each strip first.
    response, rate
        Columns of yield and of rate, both numbers.
    block
        Column of blocks, fixed effects here; None where strips were drawn over the whole field.
    shape
        `"linear"`, `"quadratic"`, or `"plateau"`: straight up to a knot, level from there.
    price_ratio
        Cost of one unit of rate over the price of one unit of response: what one unit of rate
        must bring. Zero asks for the highest response.
    confidence
        Level of the intervals, between 0 and 1.

    Returns
    -------
    RateResponse

    Raises
    ------
    ModelError
        If a column cannot be used, or there are too few rates or strips for the shape.

    Warns
    -----
    ModelWarning
        If there are so many rows for each rate that they look like points of strips.

    Notes
    -----
    Least squares with blocks as fixed effects, t and F exact for the first two shapes. The
    optimum of a quadratic is x = (r - b) / (2 c), r the price ratio; its interval holds the rates
    at which b + 2 c x does not differ from r (Fieller 1954, J. Royal Stat. Soc. B 16:175-185),
    which is exact too, and has no ends where the bend could be none. The knot's interval is by
    profile likelihood.

    Examples
    --------
    Six seed rates of rice in four blocks (Gomez and Gomez 1984, table 2.5), the last two left
    out for shortness here:

    >>> import pandas as pd
    >>> yields = {
    ...     25: [5113, 5398, 5307, 4678], 50: [5346, 5952, 4719, 4264],
    ...     75: [5272, 5713, 5483, 4749], 100: [5164, 4831, 4986, 4410],
    ... }
    >>> rows = [(x, f"R{b}", y) for x, ys in yields.items() for b, y in enumerate(ys)]
    >>> rice = pd.DataFrame(rows, columns=["kg_ha", "rep", "yield_kg_ha"])
    >>> found = rate_response(rice, "yield_kg_ha", "kg_ha", block="rep")
    >>> round(found.best_rate, 1), found.optimum_inside, round(found.p, 2)
    (55.1, True, 0.35)
    >>> print(found.sentence)
    These strips do not show that 'kg_ha' matters (F 1.16 on 2 and 10, p 0.35). At 55.12 the curve
    is highest, but these strips do not fix that: the curve may be straight.
    """
    if shape not in _SHAPES:
        raise ModelError(f"shape='{shape}' is not known. Give one of: {', '.join(_SHAPES)}.")
    check_confidence(confidence)
    if not np.isfinite(price_ratio):
        raise ModelError(f"price_ratio={price_ratio} is no number. Give cost over price, or 0.")
    ladder = read_ladder(data, response, rate, block)
    cells = ladder.levels.size * ladder.blocks.shape[1]
    if ladder.rate.size > _POINTS * cells:
        warnings.warn(_points_message(ladder, rate), ModelWarning, stacklevel=2)
    curve = fit_shape(ladder, shape)
    none = fit_shape(ladder, "flat")
    terms = none.spare - curve.spare
    statistic = (none.left - curve.left) / terms / curve.variance
    p = float(fdtrc(terms, curve.spare, statistic))
    table = _table(curve.estimates, np.sqrt(np.diag(curve.covariance)), curve.spare, confidence)
    table.index = pd.Index(curve.names, name="coefficient")
    if shape == "plateau":
        table.loc["knot", ["low", "high"]] = knot_interval(ladder, curve, confidence)
    best = find_best(ladder, curve, price_ratio, confidence)
    evidence = say(
        "F {statistic:.2f} on {df_num} and {df_den:.3g}, p {p:.2g}",
        statistic=statistic, df_num=terms, df_den=curve.spare, p=p,
    )  # fmt: skip
    matters = (
        say("These strips show that '{rate}' matters ({evidence}).", rate=rate, evidence=evidence)
        if p < _LEVEL
        else say(
            "These strips do not show that '{rate}' matters ({evidence}).",
            rate=rate, evidence=evidence,
        )
    )  # fmt: skip
    return RateResponse(
        shape=shape,
        coefficients=table,
        residual_sd=float(np.sqrt(curve.variance)),
        statistic=float(statistic),
        p=p,
        best_rate=best.rate,
        best_low=best.low,
        best_high=best.high,
        optimum_inside=best.inside,
        confidence=confidence,
        price_ratio=price_ratio,
        sentence=f"{matters} {best.words}",
        notes=ladder.notes,
        _curve=curve,
    )


def compare_shapes(
    data: pd.DataFrame, response: str, rate: str, block: str | None = None
) -> pd.DataFrame:
    """Compare the shapes that a response to rates may have.

    Parameters
    ----------
    data, response, rate, block
        As for `rate_response`.

    Returns
    -------
    DataFrame
        Index `flat`, `linear`, `quadratic`, `plateau`, those of which the strips allow; columns
        `residual_sd`, in the unit of the response, `df`, `aicc` (Hurvich and Tsai 1989, Biometrika
        76:297-307: the lowest predicts best, and two points of difference are little), and
        `lack_of_fit_f lack_of_fit_df lack_of_fit_p`: whether the means of the rates stray from the
        curve by more than chance. These three are NaN where no rate is left over to tell.

    Raises
    ------
    ModelError
        If a column cannot be used, or there are too few strips for a straight line.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "rate": [0, 40, 80, 120] * 3,
    ...     "block": list("111122223333"),
    ...     "yield_t_ha": [2.0, 2.5, 3.1, 3.1, 2.2, 2.7, 3.3, 3.3, 1.9, 2.5, 3.0, 3.1],
    ... })
    >>> compare_shapes(strips, "yield_t_ha", "rate", "block")["aicc"].idxmin()
    'plateau'
    """
    ladder = read_ladder(data, response, rate, block)
    curves = [fit_shape(ladder, "flat"), fit_shape(ladder, "linear")]
    for shape in ("quadratic", "plateau"):
        try:
            curves.append(fit_shape(ladder, shape))
        except ModelError:  # too few rates or strips for this one
            continue
    pure, spare = _scatter_within_rates(ladder)
    rows = [_comparison(ladder, curve, pure, spare) for curve in curves]
    return pd.DataFrame(rows, index=pd.Index([curve.shape for curve in curves], name="shape"))


def _points_message(ladder: Ladder, rate: str) -> str:
    return say(
        "{rows} rows for {values} values of '{rate}' look like points of strips. Points inside a "
        "strip are no replicates, and every error here is then too small. Average each strip "
        "first.",
        rows=ladder.rate.size, values=ladder.levels.size, rate=rate,
    )  # fmt: skip


def _table(estimates: Floats, errors: Floats, spare: int, confidence: float) -> pd.DataFrame:
    critical = float(stdtrit(spare, (1 + confidence) / 2))
    return pd.DataFrame(
        {
            "estimate": estimates,
            "std_error": errors,
            "df": float(spare),
            "low": estimates - critical * errors,
            "high": estimates + critical * errors,
        }
    )


def _scatter_within_rates(ladder: Ladder) -> tuple[float, int]:
    """Return the residual sum of squares and df of a mean for each rate beside blocks."""
    marks = (ladder.rate[:, None] == ladder.levels[None, 1:]).astype(float)
    inner = ladder.beside_blocks(marks)
    slopes, _, rank, _ = np.linalg.lstsq(inner, ladder.inside, rcond=1e-10)
    left = float(((ladder.inside - inner @ slopes) ** 2).sum())
    return left, ladder.rate.size - ladder.blocks.shape[1] - int(rank)


def _comparison(ladder: Ladder, curve: Curve, pure: float, spare: int) -> dict[str, float]:
    number = ladder.rate.size
    count = number - curve.spare + 1  # blocks, curve and the residual variance
    room = number - count - 1
    aicc = number * np.log(curve.left / number) + 2 * count
    terms = curve.spare - spare
    told = terms > 0 and spare > 0
    statistic = (curve.left - pure) / terms / (pure / spare) if told else np.nan
    return {
        "residual_sd": float(np.sqrt(curve.variance)),
        "df": float(curve.spare),
        "aicc": float(aicc + 2 * count * (count + 1) / room) if room > 0 else np.inf,
        "lack_of_fit_f": statistic,
        "lack_of_fit_df": float(terms) if told else np.nan,
        "lack_of_fit_p": float(fdtrc(terms, spare, max(statistic, 0.0))) if told else np.nan,
    }
