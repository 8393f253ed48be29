"""Costs by item, deductions and grades in `trial.toml`: what follows, and what is refused."""

from __future__ import annotations

import pytest

from trialkit.money import Grade
from trialkit.trial.config import read_config
from trialkit.trial.sowing_remarks import check_sowing

ITEMS = """\
cost_per_t_seed = 180
freight_per_t_seed = 12
labour_h_per_t_seed = 0.5
labour_h_per_ha = 0.02
machine_h_per_t_seed = 0.25
machine_h_per_ha = 0.01
water_l_per_t_seed = 10
extra_passes = 1
extra_seed_kg_ha = 4
saved_per_ha = 9.5
"""
RATES = "labour_per_h = 40\nmachine_per_h = 65\nwater_per_kl = 3\npass_per_ha = 12\n"
SOWING = "\n[sowing]\nseed_kg_ha = 76\nseed_cost_per_t = 380\n"
GRADES = """
[[money.grades]]
name = "milling"
price_per_t = 330
least_test_weight_kg_hl = 50
most_screenings_pct = 10

[[money.grades]]
name = "feed"
price_per_t = 280
"""
DEDUCTIONS = "freight_per_t = 25\nlevy_per_t = 1.5\nlevy_pct = 1.02\nharvest_per_t = 8\n"


@pytest.fixture
def read(trial_folder):
    """Write the settings anew and read them."""
    path = trial_folder / "trial.toml"
    plain = path.read_text()

    def written(dressed="cost_per_ha = 14.5\n", money="", tables="", control=""):
        text = plain.replace("cost_per_ha = 14.5\n", dressed)
        text = text.replace("control = true\n", f"control = true\n{control}")
        path.write_text(text + money + tables)
        return read_config(path)

    return written


def refused(found):
    config, checks = found
    assert config is None
    return [check.sentence() for check in checks]


def test_every_item_by_hand(read):
    config, checks = read(ITEMS, RATES, SOWING)
    assert checks == []
    # 76 kg and 4 more are dressed: 80 kg/ha.
    by_hand = {
        "products": 180 * 0.08,
        "freight": 12 * 0.08,
        "labour": (0.5 * 0.08 + 0.02) * 40,
        "machines": (0.25 * 0.08 + 0.01) * 65,
        "water": 10 * 0.08 / 1000 * 3,
        "extra passes": 12,
        "extra seed": 0.004 * 380,
        "saved inputs": -9.5,
    }
    lines = config.cost_sheet("dressed").lines.set_index("item")["per_ha"]
    assert lines.to_dict() == pytest.approx(by_hand)
    assert config.cost_per_ha("dressed") == pytest.approx(sum(by_hand.values()))
    spent = sum(by_hand.values()) + 9.5
    assert config.extra_cost("dressed") == pytest.approx((spent, 9.5))


def test_extra_seed_is_said_to_be_in_the_cost_alone(read):
    config, _ = read(ITEMS, RATES, SOWING)
    (note,) = check_sowing(config)
    assert note.outcome == "warning"
    assert "'dressed' counts 4 kg/ha of seed beyond the control's" in note.found
    assert "the run sheets sow all treatments alike" in note.found


def test_a_cost_alone_is_to_the_digit_what_is_given(read):
    config, _ = read("cost_per_ha = 14.2\n")
    assert config.cost_per_ha("dressed") == 14.2
    assert config.extra_cost("dressed") == (14.2, 0.0)
    config, _ = read("cost_per_t_seed = 185\n", "", "\n[sowing]\nseed_kg_ha = 75\n")
    assert config.cost_per_ha("dressed") == 185 * 75 / 1000


def test_what_lacks_a_rate_is_named_all_at_once(read):
    found = refused(read(ITEMS))
    place = "trial.toml, [[treatments]] number 2"
    assert found == [
        f"{place} cost_per_t_seed: A cost_per_t_seed needs the seed rate. Add [sowing] with "
        "seed_kg_ha, or give cost_per_ha instead.",
        f"{place} freight_per_t_seed: A freight_per_t_seed needs the seed rate. Add [sowing] with "
        "seed_kg_ha.",
        f"{place} labour_h_per_t_seed: A labour_h_per_t_seed needs the seed rate. Add [sowing] "
        "with seed_kg_ha.",
        f"{place} machine_h_per_t_seed: A machine_h_per_t_seed needs the seed rate. Add [sowing] "
        "with seed_kg_ha.",
        f"{place} water_l_per_t_seed: A water_l_per_t_seed needs the seed rate. Add [sowing] with "
        "seed_kg_ha.",
        f"{place} labour_h_per_t_seed: What an hour of work costs is not given. Give labour_per_h "
        "under [money]; 0 if it is not to count.",
        f"{place} labour_h_per_ha: What an hour of work costs is not given. Give labour_per_h "
        "under [money]; 0 if it is not to count.",
        f"{place} machine_h_per_t_seed: What an hour of the machines costs is not given. Give "
        "machine_per_h under [money]; 0 if it is not to count.",
        f"{place} machine_h_per_ha: What an hour of the machines costs is not given. Give "
        "machine_per_h under [money]; 0 if it is not to count.",
        f"{place} water_l_per_t_seed: What water costs is not given. Give water_per_kl under "
        "[money]; 0 if it is not to count.",
        f"{place} extra_passes: What a pass costs is not given. Give pass_per_ha under [money]; 0 "
        "if it is not to count.",
        f"{place} extra_seed_kg_ha: What seed costs is not given. Give seed_cost_per_t under "
        "[sowing]; 0 if it is not to count.",
    ]


def test_a_rate_of_zero_is_a_rate(read):
    config, checks = read("cost_per_ha = 5\nlabour_h_per_ha = 1\n", "labour_per_h = 0\n")
    assert checks == []
    assert config.cost_per_ha("dressed") == 5


def test_a_treatment_that_saves_more_than_it_costs_is_judged(read):
    config, checks = read("cost_per_ha = 6\nsaved_per_ha = 20\n")
    assert checks == []
    assert config.cost_per_ha("dressed") == -14
    assert config.extra_cost("dressed") == (6, 20)


def test_a_control_that_carries_the_dearer_cost_by_mistake_is_refused(read):
    (found,) = refused(read("cost_per_ha = 0\n", control="cost_per_ha = 14.5\n"))
    assert "'dressed' costs 0 a hectare and the control 'untreated' 14.5" in found
    assert "give the control the lower cost" in found
    assert "saved_per_ha under the treatment" in found
    # A saving does not hide it: what is spent counts.
    found = refused(read("cost_per_ha = 5\nsaved_per_ha = 20\n", control="cost_per_ha = 14.5\n"))
    assert "give the control the lower cost" in found[0]


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("saved_per_ha = 5", "saved_per_ha"),
        ("extra_passes = 1", "extra_passes"),
        ("extra_seed_kg_ha = 2", "extra_seed_kg_ha"),
    ],
)
def test_the_control_has_nothing_beyond_itself(read, line, key):
    (found,) = refused(read("cost_per_ha = 20\n", RATES, SOWING, control=line + "\n"))
    assert found.startswith(f"trial.toml, [[treatments]] number 1 {key}: It is counted beyond")


def test_work_given_twice_is_refused(read):
    recipe = (
        "labour_h_per_t_seed = 0.5\n[[treatments.products]]\nname = 'broth'\nform = 'watery'\n"
        "per_t = 4\ncost_per_l = 10\n"
    )
    tables = f"{SOWING}[dressing]\nwork_per_t_seed = 30\n"
    (found,) = refused(read(recipe, RATES, tables))
    assert "number 2 labour_h_per_t_seed: The work of dressing is given twice" in found
    config, checks = read(recipe, RATES, SOWING)
    assert checks == []
    assert config.cost_per_ha("dressed") == pytest.approx((40 + 0.5 * 40) * 76 / 1000)


def test_a_product_by_the_hectare_does_not_grow_with_extra_seed(read):
    recipe = (
        "extra_seed_kg_ha = 4\n[[treatments.products]]\nname = 'powder'\nform = 'powder'\n"
        "per_ha = 150\nunit = 'g'\ncost_per_kg = 10\n"
    )
    config, _ = read(recipe, RATES, SOWING)
    assert config.cost_per_ha("dressed") == pytest.approx(1.5 + 0.004 * 380)


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("freight_per_t_seed = -1", "freight_per_t_seed: It should be at least 0, not -1."),
        ("labour_h_per_ha = 400", "labour_h_per_ha: It should be at most 100, not 400."),
        ("saved_per_ha = nan", "saved_per_ha: It should be"),
        ('extra_passes = "one"', "extra_passes: It should be a number, not 'one'."),
        ("labour_h = 2", "labour_h: There is no such key. Did you mean 'labour_h_per_ha'?"),
    ],
)
def test_items_that_make_no_sense(read, line, wanted):
    (found,) = refused(read(f"cost_per_ha = 5\n{line}\n"))
    assert found.startswith(f"trial.toml, [[treatments]] number 2 {wanted}")


def test_without_deductions_prices_are_to_the_digit_what_is_given(read):
    config, _ = read(money="price_range = [255.1, 340.3]\n")
    assert (config.money.price_per_t, config.money.price_range) == (300, (255.1, 340.3))


def test_what_comes_off_is_taken_off_every_price_once(read):
    config, checks = read(money=f"price_range = [255, 340]\n{DEDUCTIONS}", tables=GRADES)
    assert checks == []
    money = config.money

    def left(price):
        return price * (1 - 0.0102) - 25 - 1.5 - 8

    assert money.paid_per_t == 300
    assert money.price_per_t == pytest.approx(left(300))
    assert money.price_range == pytest.approx((left(255), left(340)))
    assert [grade.price_per_t for grade in money.graded] == pytest.approx([left(330), left(280)])
    assert money.graded[0] == Grade(
        name="milling", price_per_t=money.graded[0].price_per_t, least_test_weight_kg_hl=50,
        most_screenings_pct=10,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("money", "tables", "wanted"),
    [
        ("freight_per_t = 320\n", "", "[money] price_per_t: Of a price of 300 a tonne, freight, "
         "levies and harvest leave -20. Check that they are per tonne, and all in one currency."),
        ("price_range = [30, 340]\nfreight_per_t = 40\n", "", "[money] price_range: Of a price of "
         "30 a tonne"),
        ("freight_per_t = -3\n", "", "[money] freight_per_t: It should be at least 0, not -3."),
        ("levy_pct = 100\n", "", "[money] levy_pct: It should be below 100, not 100."),
        ('levy_per_t = "2 USD"\n', "", "[money] levy_per_t: It should be a number, not '2 USD'."),
        ("", GRADES.replace("price_per_t = 280", "price_per_t = -280"),
         "[[money.grades]] number 2 price_per_t: It should be above 0, not -280."),
        ("", GRADES.replace("price_per_t = 280", "price_per_t = 0"),
         "[[money.grades]] number 2 price_per_t: It should be above 0, not 0."),
        ("", GRADES.replace("price_per_t = 280\n", ""),
         "[[money.grades]] number 2 price_per_t: It is missing. Add it."),
        ("", GRADES.replace("price_per_t = 280", 'price_per_t = "280 USD"'),
         "[[money.grades]] number 2 price_per_t: It should be a number, not '280 USD'."),
        ("", GRADES.replace("most_screenings_pct", "most_screening_pct"),
         "[[money.grades]] number 1 most_screening_pct: There is no such key. Did you mean "
         "'most_screenings_pct'?"),
        ("", GRADES.replace('"feed"', '"milling"'),
         "[[money.grades]]: The grade 'milling' stands twice. Give each grade once."),
        ("", GRADES[: GRADES.index("\n\n[[")] + "\n",
         "[[money.grades]]: No grade takes some grain (screenings_pct 0, test_weight_kg_hl 0). "
         "Add a grade without limits"),
        ("", GRADES + "least_protein_pct = 12\nmost_protein_pct = 11\n",
         "[[money.grades]] number 2: Grade 'feed' asks for protein_pct from 12 up to 11."),
        ("freight_per_t = 281\n", GRADES, "[[money.grades]] number 2 price_per_t: Of a price of "
         "280 a tonne"),
        ("", "\n[money.grades]\nname = 'x'\n", "[[money.grades]]: There may be several of it. "
         "Write it with double brackets: [[money.grades]]."),
    ],
)  # fmt: skip
def test_prices_that_make_no_sense(read, money, tables, wanted):
    (found,) = refused(read(money=money, tables=tables))
    assert found.startswith(f"trial.toml, {wanted}")


def test_the_price_itself_may_not_be_missing_zero_or_negative(trial_folder):
    path = trial_folder / "trial.toml"
    plain = path.read_text()
    for given, wanted in (
        ("", "It is missing. Add it."),
        ("price_per_t = 0", "It should be above 0, not 0."),
        ("price_per_t = -300", "It should be above 0, not -300."),
        ('price_per_t = "300 USD"', "It should be a number, not '300 USD'."),
    ):
        path.write_text(plain.replace("price_per_t = 300", given))
        (found,) = refused(read_config(path))
        assert found == f"trial.toml, [money] price_per_t: {wanted}"
