"""Several seasons pooled from stored answers: money, frost, what is refused, what is made anew."""

from __future__ import annotations

import json
import math
import shutil

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from trialkit import across_seasons, season_answers, season_notes
from trialkit.across_seasons import FROST_ROWS, pool_seasons
from trialkit.errors import SeasonsError, TrialFolderError
from trialkit.language import speaking
from trialkit.money import TrialCost, loss_integrals, next_step, payoff
from trialkit.report import money_words, numbers, season_words
from trialkit.result import Comparison, Summary
from trialkit.seasons_report import plain_values, with_earlier, write_seasons
from trialkit.trial import open_trial, stored_result
from trialkit.trial.provenance import input_files
from trialkit.trial.stored_result import read_stored

GAINS = [0.21, 0.05, 0.12, -0.02, 0.30]
ERRORS = [0.06, 0.05, 0.07, 0.05, 0.08]
FROST = [True, False, True, False, True]
#: Two ways to the same optimum: statsmodels stops its search earlier.
SECOND_OPINION = 1e-4


@pytest.fixture
def season(trial_folder, tmp_path):
    """A trial folder with an answer in it that still holds."""

    def make(year, gain, error, df=7.0, changes=(), frost=None, name="dressed", inputs=True):
        folder = tmp_path / f"{year}-{name}"
        shutil.copytree(trial_folder, folder)
        toml = folder / "trial.toml"
        text = toml.read_text().replace("season = 2024", f"season = {year}")
        if frost is not None:
            text = text.replace("invented = true", f"invented = true\nfrost = {str(frost).lower()}")
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        toml.write_text(text)
        strips = folder / "layout.geojson"
        strips.write_text(strips.read_text().replace('"dressed"', f'"{name}"'))
        trial = open_trial(folder)
        paid = payoff(gain, error, df, price_per_t=300, cost_per_ha=14.5)
        half = error * stats.t.ppf(0.975, df)
        comparison = Comparison(
            name, "untreated", gain, gain - half, gain + half, error, df, 0.5, "strips",
            paid.break_even_t_ha, paid.net_per_ha, paid.net_low, paid.net_high, paid.chance_paid,
            paid.verdict,
        )  # fmt: skip
        summary = Summary(
            "Invented trial", year, "oats", trial.config.money.currency, (comparison,),
            {"n": 16, "by_treatment": {"untreated": 8, name: 8}}, {}, (),
            (), tuple(input_files(trial)) if inputs else (),
        )  # fmt: skip
        (folder / "results").mkdir()
        (folder / "results" / "result.json").write_text(summary.to_json())
        return folder

    return make


@pytest.fixture
def five(season):
    years = range(2019, 2024)
    return [
        season(year, gain, error, frost=frost)
        for year, gain, error, frost in zip(years, GAINS, ERRORS, FROST, strict=True)
    ]


def test_against_statsmodels(five):
    (found,) = pool_seasons(five).treatments
    other = combine_effects(
        np.array(GAINS), np.array(ERRORS) ** 2, method_re="iterated", use_t=True
    )
    # statsmodels' iterated variance is Paule and Mandel's, ours REML: alike, not the same.
    assert found.gain.estimate == pytest.approx(other.mean_effect_re, abs=0.005)
    low, high = other.conf_int()[3]  # random effects, Hartung and Knapp's error
    assert found.gain.low == pytest.approx(low, abs=0.01)
    assert found.gain.high == pytest.approx(high, abs=0.01)
    assert found.table["gain_t_ha"].tolist() == GAINS
    assert found.table["weight_pct"].sum() == pytest.approx(100)


def test_money_at_one_price_is_the_gain_times_the_price_less_the_cost(five):
    (found,) = pool_seasons(five).treatments
    assert found.net.estimate == pytest.approx(300 * found.gain.estimate - 14.5, rel=SECOND_OPINION)
    assert found.net.low == pytest.approx(300 * found.gain.low - 14.5, abs=0.01)
    assert found.mean_pays.break_even_t_ha == pytest.approx(14.5 / 300)
    t = (found.gain.estimate - 14.5 / 300) / found.gain.std_error
    assert found.mean_pays.chance_paid == pytest.approx(stats.t.cdf(t, found.gain.df))
    wider = math.sqrt(found.gain.tau2 + found.gain.std_error**2)
    t = (found.gain.estimate - 14.5 / 300) / wider
    assert found.next_season.chance_paid == pytest.approx(stats.t.cdf(t, found.gain.df))


def test_the_answer_so_far_begins_with_the_first_season_and_ends_with_all(five):
    (found,) = pool_seasons(list(reversed(five))).treatments
    so_far = found.so_far
    assert so_far["seasons"].tolist() == [1, 2, 3, 4, 5]
    assert so_far["gain_t_ha"].iloc[0] == GAINS[0]
    assert so_far["gain_t_ha"].iloc[-1] == found.gain.estimate
    assert so_far["verdict"].iloc[-1] == found.mean_pays.verdict
    assert list(found.without_one.index) == [f"{year} Invented trial" for year in range(2019, 2024)]


def test_seasons_with_frost_stand_apart(season):
    folders = [
        season(2020, 0.30, 0.06, 9.0, frost=True),
        season(2021, 0.05, 0.04, 5.0, frost=False),
    ]
    (found,) = pool_seasons(folders).treatments
    assert found.frost["what"].tolist() == list(FROST_ROWS)
    # Welch's test from means and standard errors, by scipy: n - 1 is the degrees of freedom.
    t, p = stats.ttest_ind_from_stats(
        0.30, 0.06 * math.sqrt(10), 10, 0.05, 0.04 * math.sqrt(6), 6, equal_var=False
    )
    difference = found.frost.iloc[2]
    assert difference["gain_t_ha"] == pytest.approx(0.25)
    assert difference["p"] == pytest.approx(p)
    assert t == pytest.approx(0.25 / math.hypot(0.06, 0.04))
    assert found.without_one is None


def test_frost_is_not_set_apart_where_nobody_says(season):
    found = pool_seasons([season(2020, 0.3, 0.06, frost=True), season(2021, 0.05, 0.04)])
    assert found.treatments[0].frost.empty
    assert any("frost = true or false" in note for note in found.notes)


def test_one_is_not_enough_and_none_counts_twice(season):
    one, other = season(2020, 0.3, 0.06), season(2021, 0.1, 0.06)
    with pytest.raises(SeasonsError, match="Give two trial folders or more"):
        pool_seasons([one])
    with pytest.raises(SeasonsError, match="given twice"):
        pool_seasons([one, other, one])
    copy = one.with_name("copy")
    shutil.copytree(one, copy)
    with pytest.raises(SeasonsError, match="holds the same files as"):
        pool_seasons([one, copy])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('crop = "oats"', 'crop = "barley"'), "the crop is barley, in .* it is oats"),
        (("standard_moisture_pct = 12.5", "standard_moisture_pct = 14"), "stated at, %, is 14"),
    ],
)
def test_what_cannot_be_compared_is_refused(season, change, said):
    folders = [season(2020, 0.3, 0.06), season(2021, 0.1, 0.06, changes=[change])]
    with pytest.raises(SeasonsError, match=said):
        pool_seasons(folders)


def test_other_names_are_other_products(season):
    change = ('name = "dressed"', 'name = "soaked"')
    folders = [season(2020, 0.3, 0.06), season(2021, 0.1, 0.06, changes=[change], name="soaked")]
    with pytest.raises(SeasonsError, match=r"They have .*dressed; .*soaked"):
        pool_seasons(folders)


def test_other_currencies_leave_the_gain(season, tmp_path):
    change = ('currency = "AUD"', 'currency = "EUR"')
    found = pool_seasons([season(2020, 0.3, 0.06), season(2021, 0.1, 0.06, changes=[change])])
    assert found.treatments[0].net is None
    assert found.currency is None
    assert any("several currencies" in note for note in found.notes)
    page = write_seasons(found, tmp_path / "out")[0].read_text(encoding="utf-8")
    assert "Net," not in page


def test_products_described_otherwise_are_named(season):
    change = ('name = "dressed"', 'name = "dressed"\ndescription = "twice the rate"')
    found = pool_seasons([season(2020, 0.3, 0.06), season(2021, 0.1, 0.06, changes=[change])])
    assert any("'dressed' is described in 2 ways" in note for note in found.notes)


def test_an_answer_that_no_longer_holds_is_made_anew(season, monkeypatch):
    folders = [season(2020, 0.3, 0.06), season(2021, 0.1, 0.06)]
    stored = read_stored(open_trial(folders[1]))
    assert stored.changes == ()
    toml = folders[1] / "trial.toml"
    toml.write_text(toml.read_text() + "\n# a remark\n")
    (folders[1] / "weights.csv").write_text("strip,mass_kg\nS0,1\n")
    changes = read_stored(open_trial(folders[1])).changes
    assert [change.split()[0] for change in changes] == ["trial.toml", "weights.csv"]
    assert "has changed" in changes[0]
    assert "is new" in changes[1]
    asked = []

    class Again:
        summary = stored.summary

    monkeypatch.setattr(season_answers, "analyse", lambda trial: asked.append(trial.path) or Again)
    found = pool_seasons(folders)
    assert asked == [folders[1]]
    assert any("Worked out anew. trial.toml has changed" in note for note in found.notes)


@pytest.mark.parametrize("content", ["", "[]", '{"trial": 1}', "\xff", "[" * 5000])
def test_a_damaged_answer_counts_for_none(season, content):
    folder = season(2020, 0.3, 0.06)
    (folder / "results" / "result.json").write_text(content, encoding="latin-1")
    assert read_stored(open_trial(folder)) is None


def test_a_faulty_folder_is_named(season, tmp_path):
    with pytest.raises(TrialFolderError, match="nowhere: "):
        pool_seasons([season(2020, 0.3, 0.06), tmp_path / "nowhere"])


def test_the_page_and_the_values_say_the_same(five, tmp_path):
    found = pool_seasons(five)
    page, values = write_seasons(found, tmp_path / "out")
    text = page.read_text(encoding="utf-8")
    assert "<script" not in text
    stored = json.loads(values.read_text(encoding="utf-8"))
    assert stored == plain_values(found)
    (one,) = stored["treatments"]
    assert f"{one['gain_t_ha']:+.2f} t/ha" in text
    for title in (
        "Season by season",
        "as the seasons came in",
        "with frost",
        "All seasons but one",
    ):
        assert title in text
    assert found.sentences()[0] in text.replace("&#39;", "'")
    assert write_seasons(found, tmp_path / "again")[0].read_bytes() == page.read_bytes()


def test_names_are_escaped(season, tmp_path):
    change = ('[trial]\nname = "Invented trial"', '[trial]\nname = "<b>x</b>"')
    found = pool_seasons([season(y, 0.1, 0.05, changes=[change]) for y in (2020, 2021)])
    assert "<b>x" not in write_seasons(found, tmp_path / "out")[0].read_text(encoding="utf-8")


FARM = ("price_per_t = 300", "price_per_t = 300\narea_ha = 400\nseasons = 5\nlabour_per_h = 45")


def test_what_next_is_weighed_over_the_seasons(season, tmp_path):
    folders = [
        season(2019 + n, gain, error, changes=[FARM])
        for n, (gain, error) in enumerate(zip(GAINS, ERRORS, strict=True))
    ]
    (one,) = pool_seasons(folders).treatments
    pair_sd = math.sqrt(np.mean(np.square(ERRORS)) * 8)
    alone = next_step(
        one.gain.estimate, one.gain.std_error, one.gain.df, price_per_t=300, cost_per_ha=14.5,
        area_ha=400, seasons=5, trial=TrialCost(labour_per_h=45), pair_sd_t_ha=pair_sd,
        tau2=one.gain.tau2, pooled=True,
    )  # fmt: skip
    assert (one.step.answer, one.step.pairs) == (alone.answer, alone.pairs)
    assert one.step.trial_benefit == pytest.approx(alone.trial_benefit)
    found = pool_seasons(folders)
    page = write_seasons(found, tmp_path / "out")[0].read_text(encoding="utf-8")
    assert "<h2>What next</h2>" in page
    assert plain_values(found)["treatments"][0]["next_step"] == one.step.answer


def test_two_seasons_are_too_few_to_say_what_next(season):
    folders = [season(2020, 0.3, 0.06, changes=[FARM]), season(2021, 0.1, 0.06, changes=[FARM])]
    found = pool_seasons(folders)
    (one,) = found.treatments
    assert one.step is None
    assert one.why_no_step
    assert one.why_no_step in found.sentences()


def test_what_the_seasons_say_is_said_whole(season, said_whole, monkeypatch):
    described = ('name = "dressed"', 'name = "dressed"\ndescription = "twice the rate"')
    folders = [
        season(2020, 0.3, 0.06, changes=[FARM]),
        season(2021, 0.1, 0.06, changes=[FARM, described]),
        season(2022, 0.2, 0.06, changes=[FARM, ('currency = "AUD"', 'currency = "EUR"')]),
    ]
    answers = {folder: read_stored(open_trial(folder)) for folder in folders}
    (folders[0] / "results" / "result.json").unlink()
    (folders[1] / "weights.csv").write_text("strip,mass_kg\nS0,1\n")
    monkeypatch.setattr(season_answers, "analyse", lambda trial: answers[trial.path])
    said = said_whole(
        lambda: pool_seasons(folders).sentences(),
        across_seasons, season_answers, season_notes, stored_result, season_words, money_words,
        numbers, loss_integrals,
    )  # fmt: skip
    assert len(said) == 11


def test_the_page_is_in_the_language_and_the_values_keep_their_codes(five, tmp_path, german):
    language = german(
        {
            "Across seasons": "Über die Jahre",
            "with frost": "mit Frost",
            "paid": "lohnt",
            "not settled": "offen",
            "The answer as the seasons came in": "Wie die Jahre hinzukamen",
        }
    )
    english = plain_values(pool_seasons(five))
    with speaking(language):
        page, values = write_seasons(pool_seasons(five), tmp_path / "out")
    stored = json.loads(values.read_text(encoding="utf-8"))
    assert stored == english
    verdicts = {row["verdict"] for row in stored["treatments"][0]["so_far"]}
    assert verdicts <= {"paid", "not settled", "did not pay"}
    text = page.read_text(encoding="utf-8")
    assert '<html lang="de">' in text
    assert "<h1>Über die Jahre</h1>" in text
    assert "<title>Über die Jahre</title>" in text
    for words in ("Wie die Jahre hinzukamen", "mit Frost", ">offen<", "pays from 0,048 t/ha"):
        assert words in text
    assert ">not settled<" not in text


# As a section of one season's report ------------------------------------------------------------


def own_answer(folder):
    trial = open_trial(folder)
    return trial, read_stored(trial).summary


def test_an_answer_that_is_known_counts_like_that_of_a_folder(five):
    trial, summary = own_answer(five[-1])
    own = season_answers.SeasonAnswer(trial.path, trial.config, summary, ())
    known, stored = pool_seasons(five[:-1], own=own), pool_seasons(five)
    assert plain_values(known) == plain_values(stored)
    with pytest.raises(SeasonsError, match="given twice"):
        pool_seasons(five, own=own)


def test_the_section_holds_the_answer_of_all_seasons(five):
    trial, summary = own_answer(five[-1])
    shown = with_earlier(trial, summary, five[:-1]).html()
    assert "5 seasons: " in shown
    assert shown.count("<img") == 2
    # It stands inside a page that has its own headings.
    assert "<h1" not in shown
    assert "<h2" not in shown


def test_the_section_says_how_to_name_earlier_seasons(season):
    trial, summary = own_answer(season(2024, 0.2, 0.05))
    assert "--earlier" in with_earlier(trial, summary, []).html()


def test_the_section_says_why_seasons_cannot_be_taken_together(season):
    trial, summary = own_answer(season(2024, 0.2, 0.05))
    other = season(2023, 0.2, 0.05, changes=[('crop = "oats"', 'crop = "barley"')])
    shown = with_earlier(trial, summary, [other]).html()
    assert "barley" in shown
    assert "<img" not in shown
