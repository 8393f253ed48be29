"""What stands on the run sheets and the counting sheet besides sentences."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.language import marked, say

#: On both run sheets.
BOTH = {
    "unknown": marked("Not known yet, or not in agreement"),
    "treatment": marked("Treatment"),
    "note": marked("Note"),
}

SHED = {
    "step": marked("Step"),
    "into": marked("Into the mixer"),
    "one_mix": marked("One mix"),
    "all_mixes": marked("All mixes"),
    "used": marked("Really used"),
    "to_mark": marked("Fill to the mark"),
    "kept_back": marked("With the water kept back; stir until it goes on the seed."),
    "look_out": marked("Look out"),
    "as_it_went": marked("Each mix, as it really went"),
    "mix": marked("Mix"),
    "for_seed": marked("For seed"),
    "begun": marked("Date, stirring begun"),
    "all_on": marked("All on the seed at"),
    "litres": marked("Litres"),
    "seed_really": marked("Seed really, kg"),
    "last_in_ground": marked(
        "Last of this seed in the ground on ____________ at ________ Mixed by "
        "______________________"
    ),
    "auger": marked("Auger"),
    "auger_flow": marked("t/h = 3.6 × kg ÷ s"),
    "auger_unknown": marked("Auger: weigh a load, time it. t/h = 3.6 × kg ÷ s."),
    "pump": marked("Pump"),
    "dial": marked("Dial"),
    "pump_flow": marked("l/min = 60 × l ÷ s"),
    "pump_unknown": marked("Pump: what matches your auger, below. l/min = 60 × l ÷ s."),
    "follows": marked("The pump follows the auger"),
    "if_auger": marked("If the auger runs at, t/h"),
    "set_pump": marked("set the pump to, l/min"),
    "which_is": marked("which is"),
    "ready": marked("Have ready:"),
    "written": marked("Written down so far"),
    "product": marked("Product"),
    "planned": marked("Planned, a tonne"),
    "done": marked("Done, a tonne"),
    "off": marked("Off"),
    "mix_of": marked("Mix of"),
    "stirring": marked("Stirring begun"),
    "on_seed": marked("On the seed"),
    "last_sown": marked("Last sown"),
    "seed": marked("Seed"),
    "rate": marked("Rate"),
    "as_planned": marked("All as planned."),
    "before": marked("Before you open a pack"),
    "granted": marked("Taken for granted"),
}

CAB = {
    "seed": marked("Seed"),
    "mark": marked("Mark"),
    "strips": marked("Strips"),
    "drill": marked("Drill puts out, kg/ha"),
    "load": marked("To load, kg"),
    "fills": marked("Fills"),
    "per_fill": marked("ha a fill"),
    "loaded": marked("Loaded, kg"),
    "left_over": marked("Left over, kg"),
    "meter": marked("Set the meter for dressed seed"),
    "setting": marked("Setting"),
    "mean": marked("Mean, kg"),
    "bare": marked("bare"),
    "dressed_same": marked("dressed, same setting"),
    "dressed_new": marked("dressed, new setting"),
    "before": marked("Before you start"),
    "order": marked("Sowing order"),
    "sown": marked("Sown"),
    "strip": marked("Strip"),
    "gets": marked("Gets"),
    "tank": marked("Tank"),
    "start": marked("Start"),
    "seed_kg": marked("Seed, kg"),
    "begun": marked("Begun at"),
    "got": marked("Got instead"),
    "lost": marked("Lost; or a part: from, to (m), from which end. Note"),
    "sown_by": marked(
        "Sown by ______________________ on ____________ Looked at by ______________________"
    ),
    "write_down": marked("Write down"),
}

COUNTING = {
    "of_one_row": marked("of one row at each place"),
    "row_to_row": marked("from row to row"),
    "counted_by": marked("counted by"),
    "on_date": marked("on (date)"),
    "strip": marked("Strip"),
    "walk": marked("Walk"),
}


def said(*headings: Mapping[str, str]) -> dict[str, str]:
    """Return headings in the language that is spoken.

    Parameters
    ----------
    *headings
        Name to heading, one mapping or several.
    """
    return {name: say(text) for each in headings for name, text in each.items()}
