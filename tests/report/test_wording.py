from __future__ import annotations

import pytest

from trialkit.language import speaking
from trialkit.report import provisos, wording

# Gain, standard error, extra cost at 250 a tonne, and the verdict that payoff gives.
PAID = {"gain": 0.30, "std_error": 0.03}
PAID_BUT_OPEN = {"gain": 0.20, "std_error": 0.06}
NOT_SETTLED = {"gain": 0.09, "std_error": 0.06}
LOST = {"gain": -0.30, "std_error": 0.05}
MORE_BUT_TOO_LITTLE = {"gain": 0.06, "std_error": 0.01, "cost": 40}
PERHAPS_NOT = {"gain": 0.02, "std_error": 0.035}


@pytest.mark.parametrize(
    ("case", "expected"),
    [
        (PAID, "Yes: Dressed paid."),
        (PAID_BUT_OPEN, "Yes: Dressed paid."),
        (NOT_SETTLED, "Not settled: this trial cannot tell whether Dressed paid."),
        (LOST, "No: Dressed did not pay."),
        (MORE_BUT_TOO_LITTLE, "No: Dressed did not pay."),
    ],
)
def test_the_headline_of_one_treatment(compare, case, expected):
    assert wording.headline([compare(**case)]) == expected


def test_the_headline_of_several(compare):
    three = [
        compare(**PAID, treatment="A"),
        compare(**LOST, treatment="B"),
        compare(**LOST, treatment="C"),
        compare(**NOT_SETTLED, treatment="D"),
    ]
    assert wording.headline(three) == ("A paid. B and C did not pay. Not settled: whether D paid.")
    assert wording.headline(three[1:3]) == "B and C did not pay."


def told(comparison):
    return wording.evidence(comparison, currency="AUD", confidence=0.95)


def test_a_clear_gain(compare):
    assert told(compare(**PAID)) == (
        "Dressed yielded 0.30 t/ha more than Untreated; the true difference plausibly lies within "
        "+0.22 to +0.38 t/ha (95% interval). It had to gain 0.08 t/ha to cover its cost."
    )


def test_paid_but_a_loss_is_still_possible(compare):
    comparison = compare(**PAID_BUT_OPEN)
    assert comparison.verdict == "paid"
    assert comparison.net_low < 0
    assert "A loss of up to 8.56 AUD/ha is not ruled out." in told(comparison)


def test_a_loss_is_called_a_loss(compare):
    words = told(compare(**LOST))
    assert "0.30 t/ha less than Untreated" in words
    assert "more" not in words


def test_more_grain_that_does_not_cover_its_cost(compare):
    comparison = compare(**MORE_BUT_TOO_LITTLE)
    assert comparison.verdict == "did not pay"
    assert told(comparison).endswith("It did yield more, but not by enough.")


def test_did_not_pay_with_a_profit_still_possible(compare):
    comparison = compare(**PERHAPS_NOT)
    assert comparison.verdict == "did not pay"
    assert told(comparison).endswith("is not ruled out, but it is unlikely.")


def test_a_wide_interval_is_said_to_settle_nothing(compare):
    words = told(compare(gain=0.1, std_error=0.9))
    assert "Strips differ too much by chance to say" in words
    assert "−2.21 to +2.41 t/ha" in words


def test_no_difference_at_all(compare):
    assert "yielded no more than Untreated" in told(compare(gain=0.0))


def test_a_treatment_that_costs_nothing(compare):
    words = told(compare(gain=0.3, cost=0))
    assert "It cost nothing extra, so any gain pays." in words


def test_a_sentence_begins_with_a_capital(compare):
    assert told(compare(treatment="dressed")).startswith("Dressed yielded")


def test_the_line_for_the_terminal(compare):
    assert wording.verdict_sentence(compare(**PAID), "AUD") == (
        "Yes: Dressed paid. Gain +0.30 t/ha (+0.22 to +0.38), needed 0.08; net 55 AUD/ha "
        "(36 to 74); chance it paid more than 99 in 100."
    )


def test_the_rule_names_both_levels():
    words = wording.rule(0.9, 0.1)
    assert "from a chance of 90 in 100" in words
    assert "up to 10 in 100" in words


def test_the_meaning_counts_the_price_only_where_it_is_uncertain():
    assert "the range of prices" in wording.meaning(confidence=0.9, uncertain_price=True)
    assert "price" not in wording.meaning(confidence=0.9, uncertain_price=False)
    assert "about 90 in 100" in wording.meaning(confidence=0.9, uncertain_price=False)


@pytest.mark.parametrize("uncertain_price", [False, True])
def test_the_meaning_counts_the_grade_only_where_grain_is_sold_by_it(uncertain_price):
    words = {"confidence": 0.95, "uncertain_price": uncertain_price}
    assert "the extra grain and its grade were worth" in wording.meaning(**words, by_grade=True)
    assert "grade" not in wording.meaning(**words)


def test_prices_and_costs_carry_the_currency():
    words = wording.prices(
        currency="NZD", price_per_t=310, price_range=(260, 350.5), costs_per_ha={"A": 13.875}
    )
    assert words == "Grain at 310 NZD/t (260 to 350.50). Extra cost: A 13.88 NZD/ha."


@pytest.mark.parametrize(
    ("read", "kept", "expected"),
    [
        (0, 0, "scale weights. No yield-monitor records were used."),
        (500, 500, "All 500 records of the harvest log count."),
        (20_000, 15_000, "Of 20,000 harvest records, 5,000 (25%) were left out."),
    ],
)
def test_what_was_left_out(read, kept, expected):
    assert expected in wording.left_out(read, kept)


def test_a_log_beside_scales_is_a_cross_check_only():
    words = wording.left_out(20_000, 15_000, weighed=True)
    assert words.startswith("The strip yields come from scale weights.")
    assert "cross-check only: Of 20,000 harvest records" in words


def test_strips_without_a_yield():
    assert wording.lost_strips([]) == ""
    assert wording.lost_strips(["S4"]) == "Strip S4 has no usable yield and does not count."
    assert wording.lost_strips(["S4", "S7"]).startswith("Strips S4 and S7 have no usable")


def test_notes_are_pointed_to():
    assert wording.notes_ahead([]) == ""
    assert wording.notes_ahead(["A strip was lost."]).endswith("rely on this: A strip was lost.")
    assert "read the 3 notes" in wording.notes_ahead(["a", "b", "c"])


def test_what_the_answer_hangs_on_stands_before_all_other_notes():
    assert wording.notes_ahead(["It hangs."], ["It hangs."]) == "Before you rely on this: It hangs."
    several = wording.notes_ahead(["It hangs.", "b", "c"], ["It hangs."])
    assert several == (
        "Before you rely on this: It hangs. And read the 2 other notes after this page."
    )
    assert "the other note after" in wording.notes_ahead(["It hangs.", "b"], ["It hangs."])


def test_cautions_and_limits_say_what_they_must():
    cautions, limits = " ".join(provisos.CAUTIONS), " ".join(provisos.LIMITS)
    for must in ("Label and safety data sheet first", "never food or feed", "eye protection"):
        assert must in cautions
    assert "no financial advice" in limits


def test_a_sentence_in_another_language_has_its_words_its_order_and_its_marks(compare, german):
    language = german(
        {
            "{treatment} yielded {gain} t/ha more than {control}; the true difference plausibly "
            "lies within {span} t/ha ({level} interval).": "gegen {control} brachte {treatment} "
            "{gain} t/ha mehr ({level}: {span})",
            "It had to gain {gain} t/ha to cover its cost.": "Nötig waren {gain} t/ha.",
            "{low} to {high}": "{low} bis {high}",
        }
    )
    with speaking(language):
        words = told(compare(**PAID))
    # The first letter is a capital whatever the language begins with.
    assert words == (
        "Gegen Untreated brachte Dressed 0,30 t/ha mehr (95\u00a0%: +0,22 bis +0,38) "
        "Nötig waren 0,08 t/ha."
    )


def test_a_gain_that_reads_as_nothing_is_none_whatever_the_decimal_mark(compare, german):
    with speaking(german({"{names} and {last}": "{names} und {last}"})):
        assert "yielded no more than" in told(compare(gain=0.0))
        assert "0,30 t/ha less than" in told(compare(**LOST))


def test_strips_and_notes_are_counted_as_the_language_counts(german):
    one = "Strip {strips} has no usable yield and does not count."
    many = "Strips {strips} have no usable yield and do not count."
    with speaking(german({(one, many): ("Streifen {strips} fehlt.", "Es fehlen {strips}.")})):
        assert wording.lost_strips(["S4"]) == "Streifen S4 fehlt."
        assert wording.lost_strips(["S4", "S7"]) == "Es fehlen S4 and S7."


def test_records_have_the_thousands_mark_of_the_language(german):
    template = (
        "Of {read:,} harvest records, {out:,} ({share}) were left out. Nothing was deleted: each "
        "record is kept with its reason."
    )
    with speaking(german({template: "{out:,} von {read:,} ({share})"})):
        assert wording.left_out(20_000, 18_500) == "1.500 von 20.000 (7,5\u00a0%)"
