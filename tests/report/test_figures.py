from __future__ import annotations

import re
from base64 import b64decode

import numpy as np
import pandas as pd
import pytest

from trialkit.language import speaking
from trialkit.report import figures


def drawn(picture):
    """Draw a picture (any plotting warning is an error here) and return its SVG."""
    return picture.drawn("svg").decode()


@pytest.fixture
def one(compare):
    return figures.gains([compare(0.2)])


def test_gains_are_told_in_words(one):
    assert one.alt == (
        "Gain over Untreated in t/ha: Dressed +0.20 (95% interval +0.07 to +0.33), "
        "pays from 0.08 t/ha."
    )


def test_a_picture_is_one_figure_with_alt_text_and_no_outside_address(one):
    markup = one.html()
    assert markup.count("<img") == 1
    assert f'alt="{one.alt}"' in markup
    data = re.search(r'src="data:image/svg\+xml;base64,([^"]+)"', markup)[1]
    svg = b64decode(data).decode()
    assert "<script" not in svg
    assert not re.search(r'(href|src)="(?!#)', svg)


def test_the_same_plot_gives_the_same_bytes(one):
    assert one.drawn("svg") == one.drawn("svg")
    assert one.drawn("png") == one.drawn("png")


def test_a_picture_can_be_saved(one, tmp_path):
    path = one.save(tmp_path / "gain.png")
    assert path.read_bytes().startswith(b"\x89PNG")


def test_gains_show_zero_break_even_and_interval(compare):
    comparisons = [compare(0.2), compare(-0.1, treatment="Other", cost=60)]
    picture = figures.gains(comparisons)
    rows = picture.plot.data
    assert rows["needed"].tolist() == pytest.approx([0.08, 0.24])
    assert rows["low"].tolist() == pytest.approx([c.low_t_ha for c in comparisons])
    assert rows["row"].tolist() == [2, 1]
    low, high = picture.plot.scales.get_scales("x").limits
    assert low < min(0, rows["low"].min())
    assert high > max(rows["high"].max(), rows["needed"].max())
    drawn(picture)


@pytest.mark.parametrize("gain", [0.0, 0.079, 0.081, -2.0, 3.0])
@pytest.mark.parametrize("cost", [0.0, 20.0])
def test_gains_are_drawn_whatever_they_are(compare, gain, cost):
    drawn(figures.gains([compare(gain, cost=cost)]))


def test_a_name_with_markup_is_drawn_as_text(compare):
    picture = figures.gains([compare(treatment="<script>alert(1)</script> $x^2$")])
    assert "&lt;script&gt;" in picture.html()
    assert "<script" not in picture.html()


@pytest.mark.parametrize("name", ["a$b", "$x$", "$\\nope{$"])
def test_dollars_in_names_are_no_formula(compare, strips, name):
    drawn(figures.gains([compare(treatment=name)]))
    drawn(figures.strip_yields(strips.replace("Dressed", name), control="Untreated"))


def test_strip_yields_put_the_control_first(strips):
    picture = figures.strip_yields(strips, control="Untreated")
    assert picture.plot.data["treatment"].cat.categories.tolist() == ["Untreated", "Dressed"]
    assert "Untreated 3.33 and Dressed 3.54" in picture.alt
    drawn(picture)


def test_strips_without_a_yield_are_not_drawn(strips):
    strips.loc[0, "yield_t_ha"] = np.nan
    picture = figures.strip_yields(strips, control="Untreated")
    assert len(picture.plot.data) == 11
    drawn(picture)


@pytest.fixture
def residuals(strips):
    left = np.linspace(-0.2, 0.2, len(strips))
    return strips.set_index("strip").assign(residual=left)[["block", "treatment", "residual"]]


def test_residuals_stand_in_the_order_of_the_strips(residuals):
    picture = figures.strip_residuals(residuals.iloc[::-1], control="Untreated")
    drawn_strips = picture.plot.data["strip"].cat.categories.tolist()
    assert drawn_strips == [f"S{n}" for n in range(1, 13)]
    assert picture.plot.data["residual"].tolist() == pytest.approx(residuals["residual"].tolist())
    assert "Most above: S12 +0.20 t/ha; most below: S1 −0.20 t/ha." in picture.alt
    assert "one strip is the mirror of the other" in picture.caption
    drawn(picture)


def test_residuals_are_called_mirrored_only_in_pairs(residuals):
    for other in (residuals.drop(columns="block"), residuals.assign(block="B1")):
        assert "mirror" not in figures.strip_residuals(other, control="Untreated").caption


@pytest.mark.parametrize("name", ["$x$", "a very long name for a strip by the river"])
def test_residuals_of_strips_with_odd_names(residuals, name):
    residuals.index = [f"{name} {n}" for n in range(len(residuals))]
    drawn(figures.strip_residuals(residuals, control="Untreated"))


def test_many_treatments_have_their_own_marks(strips):
    strips["treatment"] = [f"T{i % 9}" for i in range(len(strips))]
    drawn(figures.strip_yields(strips, control="T0"))


def test_bars_of_what_was_left_out(screening):
    picture = figures.left_out_bars(screening)
    assert "pass end 1,240, outside the strips 610 and yield out of bounds 35" in picture.alt
    assert picture.plot.data["records"].tolist() == [35, 610, 1240]
    drawn(picture)


def test_every_record_is_in_a_bar_of_the_spread(make_log):
    log = make_log(2000)
    log.loc[5, "yield_t_ha"] = np.nan
    bars = figures.before_after(log).plot.data
    counts = bars.groupby("group", observed=True)["records"].sum()
    known = log["yield_t_ha"].notna()
    assert counts["kept"] == (log["kept"] & known).sum()
    assert counts["left out"] == (~log["kept"] & known).sum()
    drawn(figures.before_after(log))


def test_a_log_of_which_nothing_was_kept(make_log):
    drawn(figures.before_after(make_log(500).assign(kept=False)))


@pytest.mark.parametrize(("sharp", "words"), [(True, "11.0 s."), (False, "not show it sharply")])
def test_the_delay_curve_says_what_was_used(sharp, words):
    curve = pd.DataFrame({"delay_s": np.arange(-5, 25.0), "disagreement": 0.5})
    curve["disagreement"] += 0.001 * (curve["delay_s"] - 11) ** 2
    picture = figures.delay_curve(curve, delay_s=11, sharp=sharp)
    assert words in picture.alt
    assert words in picture.caption
    drawn(picture)


def test_pictures_in_another_language(compare, strips, german, words_in):
    words = {
        "Yield, t/ha": "Ertrag, t/ha",
        "Gain over {control}, t/ha": "Mehr als {control}, t/ha",
        "same yield": "gleicher Ertrag",
        "pays from {gain} t/ha": "lohnt ab {gain} t/ha",
    }
    with speaking(german(words)):
        gains = words_in(figures.gains([compare(0.2)]))
        yields = words_in(figures.strip_yields(strips, control="Untreated"))
    assert {"Mehr als Untreated, t/ha", "gleicher Ertrag", "lohnt ab 0,08 t/ha"} <= gains
    assert {"+0,20", "+0,1", "Dressed"} <= gains
    assert {"Ertrag, t/ha", "3,0", "Dressed"} <= yields
    assert not any(re.search(r"\d\.\d", word) for word in gains | yields)


def test_codes_stay_what_they_are_in_the_data_of_a_picture(screening, make_log, german, words_in):
    words = {"outside the strips": "außerhalb", "kept": "behalten", "left out": "ausgelassen"}
    with speaking(german(words)):
        bars, spread = figures.left_out_bars(screening), figures.before_after(make_log(2000))
        assert {"außerhalb", "pass end", "610  (3,0\u00a0%)"} <= words_in(bars)
        assert {"behalten", "ausgelassen"} <= words_in(spread)
    assert "außerhalb 610" in bars.alt
    assert set(bars.plot.data["reason"]) == set(screening["reason"])
    assert set(spread.plot.data["group"]) == {"kept", "left out"}
