"""Mercer and Hall 1911, J. Agric. Sci. 4:107-132, table 5: an acre of wheat in 500 plots.

The grain of each plot in lb, 20 rows by 25 columns of 3.30 m by 2.51 m, is in
`mercer_hall_grain_lb.csv`, read off the data set `wheat` of Debian's package r-cran-spdata, which
holds the printed table. Rothamsted, 1910; all of it treated alike.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from trialkit.design import rehearse, strip_variation

TALL_M, WIDE_M = 3.30, 2.51

#: Coefficients of variation of joined plots, %, rows by columns: R 4.2,
#:   100 * sd(x) / mean(x)
#: The first ones are those of the paper: 11.6, 10.0, 8.9 ... (from memory).
JOINED_CV_PCT = {
    (1, 1): 11.60601,
    (2, 1): 10.08766,
    (4, 1): 8.90337,
    (5, 1): 8.78359,
    (10, 1): 7.68444,
    (20, 1): 6.69997,
    (1, 5): 7.02285,
    (2, 5): 6.33381,
    (4, 5): 5.78966,
    (5, 5): 5.57475,
    (10, 5): 5.20561,
}
#: Printed to five decimals, the last one rounded up once.
PRINTED = 1e-5


@pytest.fixture(scope="module")
def grain() -> np.ndarray:
    return np.loadtxt(Path(__file__).with_name("mercer_hall_grain_lb.csv"), delimiter=",")


def test_the_table_is_the_printed_one(grain):
    assert grain.shape == (20, 25)
    # Total 1974.32 lb, mean 3.94864, standard deviation 0.4582796, range 2.73 to 5.16.
    assert grain.sum() == pytest.approx(1974.32)
    assert grain.std(ddof=1) == pytest.approx(0.4582796, abs=5e-8)
    assert (grain.min(), grain.max()) == (2.73, 5.16)


@pytest.mark.parametrize(("high", "broad"), JOINED_CV_PCT)
def test_variation_falls_as_plots_are_joined(grain, as_map, as_strips, high, broad):
    strips = as_strips(grain.shape, high, broad, TALL_M, WIDE_M, treatments=("alike",))
    assert len(strips) == 500 // (high * broad)
    found = strip_variation(as_map(grain, TALL_M, WIDE_M), strips.assign(block="all"))
    assert found.cv_pct == pytest.approx(JOINED_CV_PCT[high, broad], abs=PRINTED)


@pytest.mark.parametrize("high", [1, 2, 4, 5, 10, 20])
def test_rehearsed_error_of_pairs_is_that_of_their_differences(grain, as_map, as_strips, high):
    strips = as_strips(grain.shape, high, 1, TALL_M, WIDE_M)
    found = rehearse(strips, as_map(grain, TALL_M, WIDE_M), draws=20_000)
    joined = grain[: 20 // high * high].reshape(20 // high, high, 25).mean(axis=1)[:, :24]
    apart = joined[:, 0::2] - joined[:, 1::2]
    # Swapping in pairs: the mean difference has variance sum(d^2) / k^2 over all 2^k draws.
    exact = np.sqrt((apart**2).sum()) / apart.size
    # 20,000 draws tell a standard deviation to 0.5%; four times that.
    assert found.std_error_t_ha == pytest.approx(exact, rel=0.02)
    assert abs(found.false_positive_pct - 5) < 4 * found.false_positive_error_pct + 0.5


def test_longer_strips_see_more_but_by_less_than_independent_plots_would(grain, as_map, as_strips):
    """Smith 1938, J. Agric. Sci. 28:1-23: variance falls with size^-b, b between 0 and 1."""
    yields = as_map(grain, TALL_M, WIDE_M)
    sizes, variances = np.array([1, 2, 4, 10, 20]), []
    for high in sizes:
        found = rehearse(as_strips(grain.shape, int(high), 1, TALL_M, WIDE_M), yields, draws=4000)
        # As one pair of such strips would have it.
        variances.append(found.std_error_t_ha**2 * found.blocks)
    assert np.all(np.diff(variances) < 0)
    slope = np.polyfit(np.log(sizes), np.log(variances), 1)[0]
    assert -1 < slope < 0
