"""Does nitrogen pay against none, at the papers' prices? The whole line on a real trial.

The strip means, the gains and their error are checked against pandas and statsmodels on the raw
points: means of points, and the analysis of variance of strip means in complete blocks.
"""

from __future__ import annotations

import pandas as pd
import pytest
import statsmodels.formula.api as smf

from trialkit import analyse, open_trial

#: A few points of the bent last strip are screened out; its mean moves by less than this share.
SCREENED = 0.005

#: Linear algebra on the same strip means.
EXACT = 1e-6


@pytest.fixture(scope="module", params=[1999, 2001])
def result(request, las_rosas):
    folder = las_rosas(request.param)
    return analyse(open_trial(folder)), pd.read_csv(folder / "harvest" / "monitor.csv")


def test_nearly_every_point_is_kept(result):
    answer, points = result
    records = answer.summary.records
    assert records["read"] == len(points)
    assert records["kept"] > 0.99 * len(points)


def test_strip_yields_are_the_means_of_the_points(result):
    answer, points = result
    names = points["rep"] + "-" + points["nf"]
    means_t_ha = points["yield"].groupby(names).mean() / 10
    strips = answer.harvested.strips.set_index("strip")["yield_t_ha"]
    assert strips.to_dict() == pytest.approx(means_t_ha.to_dict(), rel=SCREENED)


def test_gains_and_errors_are_those_of_the_analysis_of_variance(result):
    answer, _ = result
    strips = answer.harvested.strips
    reference = smf.ols("yield_t_ha ~ C(treatment) + C(block)", strips).fit()
    for comparison in answer.summary.comparisons:
        term = f"C(treatment)[T.{comparison.treatment}]"
        assert comparison.gain_t_ha == pytest.approx(reference.params[term], rel=EXACT)
        assert comparison.std_error_t_ha == pytest.approx(reference.bse[term], rel=EXACT)
        assert comparison.df == pytest.approx(reference.df_resid, rel=EXACT)
        assert comparison.p_value == pytest.approx(reference.pvalues[term], rel=EXACT)


def test_break_even_is_the_price_of_the_nitrogen(result):
    # The highest rate, 131.5 kg/ha in 1999, at 0.4348 $/kg against 68.5 $/t.
    answer, points = result
    rate = points.loc[points["nf"] == "N5", "nitro"].iloc[0]
    break_even = answer.summary.comparisons[-1].break_even_t_ha
    assert break_even == pytest.approx(rate * 0.4348 / 68.5, rel=1e-4)


def test_the_yield_rises_with_nitrogen_in_both_years_but_pays_less_surely(result):
    # Anselin et al. (2004) and Lambert et al. (2004) found it so in 1999: from memory.
    answer, _ = result
    gains = [comparison.gain_t_ha for comparison in answer.summary.comparisons]
    assert gains == sorted(gains)
    assert all(comparison.low_t_ha > 0 for comparison in answer.summary.comparisons)
    verdicts = {c.treatment: c.verdict for c in answer.summary.comparisons}
    assert set(verdicts.values()) != {"paid"}


def test_three_blocks_can_never_settle_it_by_the_draw_alone(result):
    answer, _ = result
    draws = [c for c in answer.summary.cross_checks if c.method.startswith("randomisation")]
    assert len(draws) == 5
    assert all(check.p_value >= 0.25 for check in draws)
    assert all("no p below 0.25" in check.note for check in draws)


def test_the_systematic_layout_is_noticed(result):
    # The rates were drawn in one repeat only, and that order was used again in the other two.
    answer, _ = result
    (note,) = [note for note in answer.summary.warnings if "same order" in note]
    assert "N3" in note
