"""Try a layout before it is sown: draw it again and again over a past yield map.

In a season in which the whole field was treated alike, no draw of the treatments has a true
gain. Whatever gains the draws show is error, of the very strips, blocks and analysis that will
be used.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr

from trialkit.design.allocation import Allocation, check_seed
from trialkit.design.layout import TrialPlan
from trialkit.design.redraws import Layout, allocation_of, redraw
from trialkit.design.strip_yields import proposed_strips, strip_yields
from trialkit.errors import DesignError
from trialkit.language import say
from trialkit.models import BatchFit, fit_batch
from trialkit.shown import as_line, as_table

Floats = NDArray[np.float64]

#: Chance wanted of seeing a gain. Common practice: Cohen 1988 (from memory).
POWER = 0.8
#: Two-sided level at which a gain counts as seen.
LEVEL = 0.05
#: The error claimed and the one shown differ by this factor before it is worth a word.
_FAR_OFF = 1.25
#: Strips that differ by less than this share of their yield do not differ.
_NO_SCATTER = 1e-9
#: Fewer draws than this do not show what the error is.
_FEW_DRAWS = 50


@dataclass(frozen=True, slots=True, eq=False)
class Rehearsal:
    """What a layout would have shown on ground where nothing was to be seen.

    Parameters
    ----------
    strips, blocks, treatments
        Their numbers.
    mean_t_ha
        Mean yield of the strips, t/ha; over all maps.
    draws
        Draws of the treatments tried on each map.
    every_draw
        Whether these are all that the design could have drawn.
    std_error_t_ha
        Standard deviation of the gains that the draws showed, about zero, t/ha.
    claimed_error_t_ha
        The standard error that the analysis claimed, root mean square over the draws, t/ha.
    detectable_t_ha
        True gain that comes out significant in four draws of five, t/ha; not a number for a
        systematic layout, whose error one pattern cannot show.
    false_positive_pct, false_positive_error_pct
        Share of draws in which a gain or loss came out significant though there was none, %,
        and the standard error of that share from drawing only so often; 5 is right. Not a
        number for a systematic layout.
    gains
        The gain each draw showed, t/ha, shape (maps, draws, treatments - 1).
    enough_t_ha
        The true gain each draw needed to come out significant, t/ha, same shape.
    errors_t_ha
        The standard error each draw claimed, t/ha, same shape.
    df
        Degrees of freedom of the analysis.
    by_map
        One row a map: `mean_t_ha cv_pct std_error_t_ha detectable_t_ha false_positive_pct`.
    notes
        Sentences on what the numbers leave out.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    strips: int
    blocks: int
    treatments: int
    mean_t_ha: float
    draws: int
    every_draw: bool
    std_error_t_ha: float
    claimed_error_t_ha: float
    detectable_t_ha: float
    false_positive_pct: float
    false_positive_error_pct: float
    gains: Floats
    enough_t_ha: Floats
    errors_t_ha: Floats
    df: float
    by_map: pd.DataFrame
    notes: tuple[str, ...]

    def chance_seen(self, gain_t_ha: float) -> float:
        """Return the share of draws in which a true gain comes out significant.

        Parameters
        ----------
        gain_t_ha
            The true gain, t/ha, the same in every strip.

        Returns
        -------
        float
            0 to 1; not a number for a systematic layout.
        """
        if self._not_drawn:
            return math.nan
        return float((self.enough_t_ha <= gain_t_ha).mean())

    def verdicts(
        self,
        gains_t_ha: Sequence[float],
        break_even_t_ha: float,
        *,
        paid_at: float = 0.9,
        did_not_pay_at: float = 0.1,
    ) -> pd.DataFrame:
        """Return what the season report would say, were a gain true.

        Parameters
        ----------
        gains_t_ha
            True gains, t/ha, each the same in every strip.
        break_even_t_ha
            Gain that just covers the cost, t/ha; the price is taken as known.
        paid_at, did_not_pay_at
            Chance of having paid from which, and up to which, the report says so.

        Returns
        -------
        DataFrame
            One row a gain: `gain_t_ha paid_pct not_settled_pct did_not_pay_pct`, shares of
            draws; not a number for a systematic layout.
        """
        if not 0 <= did_not_pay_at < paid_at <= 1:
            raise DesignError(
                f"A chance up to {did_not_pay_at} cannot be 'did not pay' while one from {paid_at} "
                "is 'paid'. Give the first below the second, both from 0 to 1."
            )
        rows = []
        for gain in gains_t_ha:
            chance = stdtr(self.df, (self.gains + gain - break_even_t_ha) / self.errors_t_ha)
            paid = 100 * float((chance >= paid_at).mean())
            not_paid = 100 * float((chance <= did_not_pay_at).mean())
            rows.append((float(gain), paid, 100 - paid - not_paid, not_paid))
        columns = ["gain_t_ha", "paid_pct", "not_settled_pct", "did_not_pay_pct"]
        table = pd.DataFrame(rows, columns=columns)
        return table.assign(**dict.fromkeys(columns[1:], math.nan)) if self._not_drawn else table

    @property
    def _not_drawn(self) -> bool:
        return math.isnan(self.detectable_t_ha)

    def sentence(self, break_even_t_ha: float | None = None) -> str:
        """Say what the layout would see, and whether that is enough.

        Parameters
        ----------
        break_even_t_ha
            Gain that just covers the cost, t/ha.
        """
        if self._not_drawn:
            return say(
                "{strips} strips in {blocks} blocks, not drawn. With no treatment at all this "
                "layout would have shown a difference of {error:.3f} t/ha. What it can see is not "
                "known, as nothing is drawn.",
                strips=self.strips,
                blocks=self.blocks,
                error=self.std_error_t_ha,
            )
        words = say(
            "{strips} strips in {blocks} blocks see a gain of {detectable:.2f} t/ha in four draws "
            "of five (standard error {error:.3f} t/ha).",
            strips=self.strips,
            blocks=self.blocks,
            detectable=self.detectable_t_ha,
            error=self.std_error_t_ha,
        )
        if break_even_t_ha is None:
            return words
        if not (math.isfinite(break_even_t_ha) and break_even_t_ha >= 0):
            raise DesignError(
                f"The break-even gain is {break_even_t_ha} t/ha. Give zero or more: cost over "
                "price."
            )
        pays = say(
            "The dressing pays from {break_even:.2f} t/ha: a true gain of that size would be seen "
            "in {chance:.0%} of draws.",
            break_even=break_even_t_ha,
            chance=self.chance_seen(break_even_t_ha),
        )
        return f"{words} {pays}"


def rehearse(
    layout: Layout,
    past_yield: pd.DataFrame | Sequence[pd.DataFrame],
    *,
    draws: int = 1000,
    seed: int | None = None,
    strip_sd_t_ha: float = 0.0,
    allocation: Allocation | None = None,
) -> Rehearsal:
    """Draw the treatments again and again over past yields, and analyse each draw.

    The analysis is the season's own: strip yields, blocks as fixed effects.

    Parameters
    ----------
    layout
        The strips proposed: from `lay_out`, `plan_trial` or drawn by hand, with `strip block
        treatment geometry`, and `role` where there is other ground too.
    past_yield
        Yields of a season in which the field was treated alike, as `strip_yields` takes them; or
        several seasons, one frame each.
    draws
        Number of draws; if the design has fewer, each is tried once.
    seed
        Seed of the drawing; None for 0, so that the same call gives the same answer.
    strip_sd_t_ha
        What strips differ by beyond what the map holds, as a standard deviation, t/ha: seeding
        depth, a blocked row, a spray pass. It is drawn anew for each strip and draw.
    allocation
        How the treatments were drawn, for a layout that does not know. By default freely inside
        the blocks.

    Returns
    -------
    Rehearsal

    Raises
    ------
    DesignError
        If the map does not cover the strips, or a number makes no sense.
    ModelError
        If the layout cannot tell the treatments apart.

    Notes
    -----
    Nothing is assumed of how yields vary: the ground is what it is, and only the draw is random.
    A true gain is taken to be the same in every strip. What another season does to the ground
    is not in one map; give several.
    """
    if isinstance(draws, bool) or not isinstance(draws, int | np.integer) or draws < 1:
        raise DesignError(f"{draws!r} is no number of draws. Give a whole number, such as 1000.")
    seed = 0 if seed is None else seed
    check_seed(seed)
    if not (math.isfinite(strip_sd_t_ha) and strip_sd_t_ha >= 0):
        raise DesignError(
            f"The strips' own standard deviation is {strip_sd_t_ha} t/ha. Give zero or more."
        )
    strips = proposed_strips(layout.layout if isinstance(layout, TrialPlan) else layout)
    if "treatment" not in strips:
        raise DesignError("The layout has no column 'treatment'. Draw the treatments first.")
    maps = [past_yield] if isinstance(past_yield, pd.DataFrame) else list(past_yield)
    if not maps:
        raise DesignError("There is no past yield map. Give at least one.")
    allocation = allocation_of(layout, strips) if allocation is None else allocation
    generator, noise = np.random.default_rng(int(seed)).spawn(2)
    laid_out, drawn, every = redraw(
        strips, allocation, int(draws), generator, listed=strip_sd_t_ha == 0
    )
    yields = np.array([strip_yields(each, strips).to_numpy() for each in maps])
    if strip_sd_t_ha == 0 and (_apart(yields, strips) < _NO_SCATTER * yields.mean(axis=1)).any():
        raise DesignError(
            "The strips of a block all have the same past yield, so the map shows no error. Check "
            "that it holds single yields and not one mean for the field."
        )
    shown = yields[:, drawn]
    if strip_sd_t_ha > 0:
        shown += strip_sd_t_ha * noise.standard_normal(shown.shape)
    names = list(dict.fromkeys(strips["treatment"]))
    fit = fit_batch(
        shown.reshape(-1, len(strips)),
        strips["treatment"].to_numpy()[laid_out],
        strips["block"].to_numpy()[laid_out],
        against="untreated" if "untreated" in names else names[0],
        blocks="fixed",
        confidence=1 - LEVEL,
    )
    notes = _notes(len(maps), len(drawn) if every else None, strip_sd_t_ha, allocation)
    return _summary(yields, fit, len(drawn), every, strips, allocation, tuple(notes))


def _summary(
    yields: Floats,
    fit: BatchFit,
    draws: int,
    every: bool,
    strips: gpd.GeoDataFrame,
    allocation: Allocation | None,
    notes: tuple[str, ...],
) -> Rehearsal:
    shape = (len(yields), draws, len(fit.treatments))
    gains, errors = fit.estimate.reshape(shape), fit.std_error.reshape(shape)
    enough = (fit.high - fit.estimate).reshape(shape) - gains
    wrong = (fit.p < LEVEL).reshape(shape).astype(float)
    if allocation is not None and allocation.systematic:
        enough, wrong = np.full(shape, np.nan), np.full(shape, np.nan)
    by_map = pd.DataFrame(
        {
            "mean_t_ha": yields.mean(axis=1),
            "cv_pct": 100 * _apart(yields, strips) / yields.mean(axis=1),
            "std_error_t_ha": np.sqrt((gains**2).mean(axis=(1, 2))),
            "detectable_t_ha": np.quantile(enough, POWER, axis=(1, 2)),
            "false_positive_pct": 100 * wrong.mean(axis=(1, 2)),
        }
    )
    error, claimed = (float(np.sqrt((each**2).mean())) for each in (gains, errors))
    share = float(wrong.mean())
    return Rehearsal(
        strips=len(strips),
        blocks=int(strips["block"].nunique()),
        treatments=len(fit.treatments) + 1,
        mean_t_ha=float(yields.mean()),
        draws=draws,
        every_draw=every,
        std_error_t_ha=error,
        claimed_error_t_ha=claimed,
        detectable_t_ha=float(np.quantile(enough, POWER)),
        false_positive_pct=100 * share,
        false_positive_error_pct=0.0 if every else 100 * math.sqrt(share * (1 - share) / draws),
        gains=gains,
        enough_t_ha=enough,
        errors_t_ha=errors,
        df=float(fit.df.flat[0]),
        by_map=by_map,
        notes=(*notes, *_of_error(claimed / error, draws)),
    )


def _apart(yields: Floats, strips: gpd.GeoDataFrame) -> Floats:
    """Return the standard deviation of strips inside blocks, one a map, t/ha."""
    table = pd.DataFrame(yields.T)
    block = strips["block"].reset_index(drop=True)
    apart = table - table.groupby(block).transform("mean")
    squares: Floats = (apart**2).sum().to_numpy(dtype=float)
    apart_t_ha: Floats = np.sqrt(squares / (len(strips) - block.nunique()))
    return apart_t_ha


def _notes(
    maps: int, listed: int | None, strip_sd_t_ha: float, allocation: Allocation | None
) -> Iterator[str]:
    """Say what the numbers leave out."""
    if allocation is not None and allocation.systematic:
        yield allocation.cost
    elif listed is not None:
        yield say("The design allows only {draws:,} draws; each was tried once.", draws=listed)
    if maps == 1:
        yield say(
            "This is one season's ground. Another season can vary more; try two maps or more."
        )
    if strip_sd_t_ha == 0:
        yield say(
            "A map of the past does not hold what sets strips apart in the year of the trial: "
            "seeding depth, a blocked row, a spray pass. The true error is larger."
        )


def _of_error(claimed: float, draws: int) -> Iterator[str]:
    """Say so where the analysis claims another error than the draws show."""
    if draws < _FEW_DRAWS:
        return
    if claimed > _FAR_OFF:
        yield say(
            "The analysis claims {times:.1f} times the error that the draws show: the draw keeps "
            "out part of what the ground does, and the analysis does not know.",
            times=claimed,
        )
    elif claimed < 1 / _FAR_OFF:
        yield say(
            "The draws vary {times:.1f} times as much as the analysis claims. Do not trust this "
            "layout's error.",
            times=1 / claimed,
        )
