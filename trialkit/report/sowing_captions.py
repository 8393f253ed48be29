"""Words on the pictures and tables of the sowing, and in their place for who cannot see them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.sowing.sensible import counted, shown

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.sowing import DialSetting, SowingOrder

STIRRED, WAITS, ON_SEED = "stirred", "waits for the filling", "goes on the seed"
MINUTES_AXIS = "Minutes from the first mix"
MIX_AXIS = "Mix"
DIAL_AXIS = "Mark on the pump's dial"
FLOW_AXIS = "Flow, l/min"
ACROSS_AXIS = "Across the passes, m"
ALONG_AXIS = "Along them, m"
ORDER_CAPTION = (
    "The number is the place in the sowing order, the letter the treatment; the arrow is the first "
    "pass of the strip. Not to scale: stretched across."
)

MIX_TITLE = "One mix, in the order it goes in"
TOTALS_TITLE = "What the whole lot takes, and what is left of the packs"
SEED_TITLE = "Seed by treatment"
RATES_TITLE = "Written down in dressing.csv, beside the plan"
MATCH_TITLE = "The pump follows the auger"
ARMS_TITLE = "Were the arms sown alike?"

HEADINGS = {
    "step": "Step",
    "product": "Product",
    "measure": "One mix",
    "how": "How",
    "amount": "All mixes",
    "need": "Needed",
    "unit": "Unit",
    "packs": "Packs",
    "left_over": "Left over",
    "outlay": "To pay for the packs",
    "cost_per_ha": "Cost a hectare",
    "treatment": "Treatment",
    "area_ha": "ha",
    "seed_kg_ha": "Bare seed, kg/ha",
    "drill_kg_ha": "Drill puts out, kg/ha",
    "seed_t": "Bare seed, t",
    "load_t": "To load, t",
    "cart_fills": "Cart fills",
    "ha_per_fill": "ha a fill",
    "planned_per_t": "Planned, a tonne",
    "real_per_t": "Done, a tonne",
    "off_pct": "Off, %",
    "auger_t_h": "Auger, t/h",
    "pump_l_min": "Pump, l/min",
    "bucket_l": "Bucket, l",
    "seconds": "Full in, s",
    "plants_m2": "Plants/m²",
    "difference_pct": "Against the control, %",
    "bias_t_ha": "Yield it brings, t/ha",
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
    words = (
        f"{counted(len(times), 'mix', 'mixes')} in "
        f"{counted(int(times['fill'].max()), 'filling')}; the last is on the seed after "
        f"{done:.0f} minutes."
    )
    if keeps_h is None:
        return f"{words} No product says how long a mix keeps."
    oldest = float((times["seed_to_min"] - times["stir_from_min"]).max())
    late = int((times["seed_to_min"] > times["use_by_min"]).sum())
    return (
        f"{words} The oldest mix is {oldest:.0f} minutes old then, and a mix keeps "
        f"{60 * keeps_h:.0f}. Too old: {late if late else 'none'}."
    )


def morning_caption(keeps_h: float | None, *, hidden: bool) -> str:
    """Say how to read the picture of the morning.

    Parameters
    ----------
    keeps_h
        Hours a mix keeps; None if no product says.
    hidden
        Whether some mixes keep longer than the picture is wide.
    """
    words = "One person, one thing at a time: the auger stands still while a filling is mixed."
    if keeps_h is None:
        return f"{words} No product says how long a mix keeps: look on the labels."
    if hidden:
        return f"{words} Each mix keeps {shown(keeps_h)} h, further than the picture goes."
    return f"{words} Orange: a mix keeps until here, {shown(keeps_h)} h from when it was begun."


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
    known = "its error is not known"
    if setting.tolerance_pct is not None:
        known = f"known to ±{setting.tolerance_pct:.1f}%"
    return (
        f"Set the dial to {setting.dial:.2f} for {shown(setting.flow_l_min)} l/min, by a line "
        f"through {counted(catches, 'catch', 'catches')}; {known}, and ±{shown(within_pct)}% is "
        "wanted."
    )


def dial_caption(within_pct: float) -> str:
    """Say how to read the picture of the catch test.

    Parameters
    ----------
    within_pct
        How far the flow may be off, ± %.
    """
    return (
        f"Dots: catches. Green: the flow wanted, ±{shown(within_pct)}%. Orange: where to set the "
        "dial; catch once more there."
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
    return f"The strips in the order they are sown. {'; '.join(parts)}."
