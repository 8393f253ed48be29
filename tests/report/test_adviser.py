from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from trialkit.language import speaking
from trialkit.report import adviser

# Gain and standard error, with the verdict that payoff gives.
PAID = {"gain": 0.30, "std_error": 0.03}
NOT_SETTLED = {"gain": 0.09, "std_error": 0.06}


def agreed(comparison, *checks):
    return adviser.agreement(comparison, checks, confidence=0.95)


def test_methods_that_agree(compare, check):
    assert "the methods agree" in agreed(compare(**PAID), check(0.28, p=0.001))


def test_a_method_outside_the_main_interval(compare, check):
    words = agreed(compare(**PAID), check(0.05, p=0.001, method="records"))
    assert "do not fully agree" in words
    assert "The records put the gain at +0.05 t/ha, outside" in words


def test_a_method_that_finds_what_the_main_analysis_does_not(compare, check):
    comparison = compare(**NOT_SETTLED)
    assert comparison.p_value > 0.05
    found = agreed(comparison, check(0.1, p=0.01, method="records"))
    assert "The records found a difference beyond what chance gives (p = 0.010;" in found
    not_found = agreed(compare(**PAID), check(0.3, p=0.2, method="randomisation test"))
    assert "The randomisation test did not find a difference" in not_found


def test_a_method_that_could_not_have_found_it_says_so(compare, check):
    blunt = replace(check(0.3, p=0.125), note="The layout allows no p below 0.12.")
    assert agreed(compare(**PAID), blunt).count("The layout allows no p below 0.12.") == 1


def test_checks_of_other_treatments_do_not_count(compare, check):
    other = check(9.0, treatment="Other")
    assert "no other method could be tried" in agreed(compare(**PAID), other)
    assert "the methods agree" in agreed(compare(**PAID), other, check(0.3, p=0.001))


def test_a_method_without_a_p_value_is_judged_by_its_gain(compare, check):
    assert "the methods agree" in agreed(compare(**PAID), check(0.3, p=None))


@pytest.mark.parametrize(
    ("value", "expected"), [(0.0001, "p < 0.001"), (0.012, "p = 0.012"), (0.4, "p = 0.40")]
)
def test_p_values_in_words(value, expected):
    assert adviser.p_value(value) == expected


def test_zero_variances_are_an_answer():
    assert adviser.zero_variances([]) == ""
    assert "The variance of block came out as zero" in adviser.zero_variances(["block"])


def test_replication():
    assert adviser.replication({"a": 6, "b": 5}) == "Strips with a yield: 6 of a and 5 of b."


def without(*rows, treatment="Dressed"):
    names = ["left_out", "gain_t_ha", "chance_paid", "verdict"]
    return pd.DataFrame(rows, columns=names).assign(treatment=treatment)


def test_no_strip_turns_the_verdict(compare):
    table = without(("S1", 0.31, 0.991, "paid"), ("S2", 0.27, 0.953, "paid"))
    assert adviser.one_strip(compare(**PAID), table) == (
        "Dressed: leaving out one strip at a time, the gain lies within +0.27 to +0.31 t/ha and "
        "the chance it paid goes from 95 in 100 to more than 99 in 100; the verdict stays the "
        "same."
    )


def test_a_chance_that_hardly_moves_is_given_once(compare):
    table = without(("S1", 0.31, 0.955, "paid"), ("S2", 0.27, 0.953, "paid"))
    assert "the chance it paid is 95 in 100;" in adviser.one_strip(compare(**PAID), table)


def test_strips_that_turn_the_verdict_are_named(compare):
    table = without(
        ("S1", 0.31, 0.95, "paid"),
        ("S2", 0.2, 0.88, "not settled"),
        ("S3", 0.2, 0.85, "not settled"),
        ("S4", -0.1, 0.05, "did not pay"),
    )
    words = adviser.one_strip(compare(**PAID), table)
    assert "goes from 5 in 100 to 95 in 100. The verdict hangs on single strips: " in words
    assert words.endswith(
        "without S2 or S3 it would be 'not settled'; without S4 it would be 'did not pay'."
    )


def test_strips_of_other_treatments_do_not_count(compare):
    table = without(("S1", 0.1, 0.5, "not settled"), treatment="Other")
    assert "nothing is left to judge by" in adviser.one_strip(compare(**PAID), table)


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ((0.10, 0.30), "Here they change no answer."),
        ((-0.01, 0.41), "By itself A differs from Untreated beyond chance; with all taken"),
    ],
)
def test_several_treatments_at_once(ends, words):
    alone = pd.DataFrame({"low": [0.05, -0.2], "high": [0.35, 0.2]}, index=["A", "B"])
    at_once = pd.DataFrame({"low": [ends[0], -0.25], "high": [ends[1], 0.25]}, index=["A", "B"])
    found = adviser.all_at_once(alone, at_once, control="Untreated", confidence=0.95)
    assert found.startswith("With 2 treatments against Untreated, one may look different by luck")
    assert "about 95 in 100 have all 2 right" in found
    assert words in found


def screenings(*rows):
    names = ["level", "gain_t_ha", "verdict"]
    return pd.DataFrame(rows, columns=names).assign(treatment="Dressed")


def test_an_answer_that_any_screening_gives(compare):
    table = screenings(
        ("none", -0.1, "did not pay"),
        ("light", 0.27, "paid"),
        ("default", 0.3, "paid"),
        ("hard", 0.31, "paid"),
    )
    assert adviser.under_screenings(compare(**PAID), table) == (
        "Dressed: from light to hard screening the gain lies within +0.27 to +0.31 t/ha and the "
        "verdict stays the same: it does not hang on the records left out."
    )


def test_an_answer_that_hangs_on_the_screening(compare):
    table = screenings(("light", 0.1, "not settled"), ("default", 0.3, "paid"), ("hard", 0.2, ""))
    words = adviser.under_screenings(compare(**PAID), table)
    assert "hangs on which records are left out: light: 'not settled'; default: 'paid'" in words
    assert words.endswith("hard: no answer.")


def test_methods_and_verdicts_are_codes_until_they_are_said(compare, check, german):
    method = "records, with strips as random effects"
    words = {
        method: "Datensätze",
        "The {method} put the gain at {gain} t/ha, outside the main interval of {span}.": (
            "„{method}“: {gain} statt {span}."
        ),
        "not settled": "nicht entschieden",
        "{level}: '{verdict}'": "{level} „{verdict}“",
        "light": "leicht",
        "{names} or {last}": "{names} oder {last}",
        "without {strips} it would be '{verdict}'": "„{verdict}“ ohne {strips}",
    }
    table = screenings(("light", 0.1, "not settled"), ("default", 0.3, "paid"), ("hard", 0.2, ""))
    single = without(("S2", 0.2, 0.88, "not settled"), ("S3", 0.2, 0.85, "not settled"))
    other = check(0.05, p=0.0004, method=method)
    with speaking(german(words)):
        assert "„Datensätze“: +0,05 statt +0,22 to +0,38." in agreed(compare(**PAID), other)
        hangs = adviser.under_screenings(compare(**PAID), table)
        strip = adviser.one_strip(compare(**PAID), single)
        assert adviser.p_value(0.0004) == "p < 0,001"
    assert "leicht „nicht entschieden“; default „paid“; hard: no answer" in hangs
    assert strip.endswith("„nicht entschieden“ ohne S2 oder S3.")
    assert other.method == method
    assert set(table["verdict"]) == {"not settled", "paid", ""}
