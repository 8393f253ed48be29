"""Words on the pictures and tables of the sowing, and in their place for who cannot see them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import number
from trialkit.sowing.sensible import shown

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.sowing import DialSetting, SowingOrder

STIRRED, WAITS = marked("stirred"), marked("waits for the filling")
ON_SEED = marked("goes on the seed")
MINUTES_AXIS = marked("Minutes from the first mix")
MIX_AXIS = marked("Mix")
DIAL_AXIS = marked("Mark on the pump's dial")
FLOW_AXIS = marked("Flow, l/min")
ACROSS_AXIS = marked("Across the passes, m")
ALONG_AXIS = marked("Along them, m")
ORDER_CAPTION = marked(
    "The number is the place in the sowing order, the letter the treatment; the arrow is the first "
    "pass of the strip. Not to scale: stretched across."
)

MIX_TITLE = marked("One mix, in the order it goes in")
TOTALS_TITLE = marked("What the whole lot takes, and what is left of the packs")
SEED_TITLE = marked("Seed by treatment")
RATES_TITLE = marked("Written down in dressing.csv, beside the plan")
MATCH_TITLE = marked("The pump follows the auger")
ARMS_TITLE = marked("Were the arms sown alike?")

HEADINGS = {
    "step": marked("Step"),
    "product": marked("Product"),
    "measure": marked("One mix"),
    "how": marked("How"),
    "amount": marked("All mixes"),
    "need": marked("Needed"),
    "unit": marked("Unit"),
    "packs": marked("Packs"),
    "left_over": marked("Left over"),
    "outlay": marked("To pay for the packs"),
    "cost_per_ha": marked("Cost a hectare"),
    "treatment": marked("Treatment"),
    "area_ha": marked("ha"),
    "seed_kg_ha": marked("Bare seed, kg/ha"),
    "drill_kg_ha": marked("Drill puts out, kg/ha"),
    "seed_t": marked("Bare seed, t"),
    "load_t": marked("To load, t"),
    "cart_fills": marked("Cart fills"),
    "ha_per_fill": marked("ha a fill"),
    "planned_per_t": marked("Planned, a tonne"),
    "real_per_t": marked("Done, a tonne"),
    "off_pct": marked("Off, %"),
    "auger_t_h": marked("Auger, t/h"),
    "pump_l_min": marked("Pump, l/min"),
    "bucket_l": marked("Bucket, l"),
    "seconds": marked("Full in, s"),
    "plants_m2": marked("Plants/m²"),
    "difference_pct": marked("Against the control, %"),
    "bias_t_ha": marked("Yield it brings, t/ha"),
}


def morning_words(times: DataFrame, keeps_h: float | None) -> str:
    """Describe the picture of the morning.

    Parameters
    ----------
    times
        From `trialkit.sowing.mix_times`.
    keeps_h
        Hours a mix keeps; None if no product says.
    """
    done = float(times["seed_to_min"].max())
    words = say(
        "{mixes} in {fillings}; the last is on the seed after {minutes:.0f} minutes.",
        mixes=mixes_words(len(times)),
        fillings=say_counted("{count:,} filling", "{count:,} fillings", int(times["fill"].max())),
        minutes=done,
    )
    if keeps_h is None:
        unknown = say("No product says how long a mix keeps.")
        return f"{words} {unknown}"
    oldest = float((times["seed_to_min"] - times["stir_from_min"]).max())
    late = int((times["seed_to_min"] > times["use_by_min"]).sum())
    age = say(
        "The oldest mix is {oldest:.0f} minutes old then, and a mix keeps {keeps:.0f}. Too old: "
        "{late}.",
        oldest=oldest,
        keeps=60 * keeps_h,
        late=str(late) if late else say("none"),
    )
    return f"{words} {age}"


def morning_caption(keeps_h: float | None, *, hidden: bool) -> str:
    """Say how to read the picture of the morning.

    Parameters
    ----------
    keeps_h
        Hours a mix keeps; None if no product says.
    hidden
        Whether some mixes keep longer than the picture is wide.
    """
    words = say("One person, one thing at a time: the auger stands still while a filling is mixed.")
    if keeps_h is None:
        until = say("No product says how long a mix keeps: look on the labels.")
    elif hidden:
        until = say(
            "Each mix keeps {hours} h, further than the picture goes.", hours=shown(keeps_h)
        )
    else:
        until = say(
            "Orange: a mix keeps until here, {hours} h from when it was begun.",
            hours=shown(keeps_h),
        )
    return f"{words} {until}"


def dial_words(setting: DialSetting, catches: int, within_pct: float) -> str:
    """Describe the picture of the catch test.

    Parameters
    ----------
    setting
        The mark for the flow wanted.
    catches
        Number of catches.
    within_pct
        How far the flow may be off, ± %.
    """
    dial, flow, within = number(setting.dial, 2), shown(setting.flow_l_min), shown(within_pct)
    if setting.tolerance_pct is None:
        return say_counted(
            "Set the dial to {dial} for {flow} l/min, by a line through {count:,} catch; its error "
            "is not known, and ±{within}% is wanted.",
            "Set the dial to {dial} for {flow} l/min, by a line through {count:,} catches; its "
            "error is not known, and ±{within}% is wanted.",
            catches,
            dial=dial,
            flow=flow,
            within=within,
        )
    return say_counted(
        "Set the dial to {dial} for {flow} l/min, by a line through {count:,} catch; known to "
        "±{known:.1f}%, and ±{within}% is wanted.",
        "Set the dial to {dial} for {flow} l/min, by a line through {count:,} catches; known to "
        "±{known:.1f}%, and ±{within}% is wanted.",
        catches,
        known=setting.tolerance_pct,
        dial=dial,
        flow=flow,
        within=within,
    )


def dial_caption(within_pct: float) -> str:
    """Say how to read the picture of the catch test.

    Parameters
    ----------
    within_pct
        How far the flow may be off, ± %.
    """
    return say(
        "Dots: catches. Green: the flow wanted, ±{within}%. Orange: where to set the dial; catch "
        "once more there.",
        within=shown(within_pct),
    )


def order_words(order: SowingOrder) -> str:
    """Describe the picture of the order.

    Parameters
    ----------
    order
        The order of the strips.
    """
    parts = []
    for treatment in order.starts:
        rows = order.steps[order.steps["treatment"] == treatment]
        parts.append(f"{treatment}: {', '.join(rows['strip'])}")
    return say("The strips in the order they are sown. {each}.", each="; ".join(parts))


def headings() -> dict[str, str]:
    """Return the headings of the tables."""
    return {name: say(heading) for name, heading in HEADINGS.items()}


def mixes_words(mixes: int) -> str:
    """Return how many mixes there are, in words.

    Parameters
    ----------
    mixes
        Their number.
    """
    return say_counted("{count:,} mix", "{count:,} mixes", mixes)
