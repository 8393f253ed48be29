"""Words of the report's tables: captions, headings, and what stands in their cells."""

from __future__ import annotations

from trialkit.language import marked, say
from trialkit.report.numbers import level

#: What each limit of the screening is.
LIMIT_WORDS = {
    "rules": marked("rules used, in their order"),
    "speed_low_m_s": marked("slowest speed at which the machine harvests, m/s"),
    "speed_high_m_s": marked("fastest speed at which the machine harvests, m/s"),
    "beside_stop_s": marked("left out before and after a stop, s"),
    "speed_jump_share": marked("change of speed within a second that is too sudden, as a share"),
    "beside_jump_s": marked("left out before and after a sudden change of speed, s"),
    "yield_low_t_ha": marked("least yield the crop can have, t/ha"),
    "yield_high_t_ha": marked("greatest yield the crop can have, t/ha"),
    "swath_least_share": marked("least cut, as a share of the full width"),
    "beside_part_s": marked("left out before and after a part swath, s"),
    "pass_start_s": marked("left out at the start of a pass, s"),
    "pass_end_s": marked("left out at the end of a pass, s"),
    "jump_m_s": marked("speed between two positions that no machine makes, m/s"),
    "moisture_low_pct": marked("driest grain the sensor is believed to read, %"),
    "moisture_high_pct": marked("wettest grain the sensor is believed to read, %"),
    "least_pass_m": marked("shortest pass that counts, m"),
    "frozen_s": marked("one and the same flow for so long is a sensor that hangs, s"),
    "outlier_sd": marked("outlier of its pass beyond so many standard deviations"),
    "local_outlier_sd": marked("outlier among its neighbours beyond so many standard deviations"),
}

#: The levels of screening in the words of a table.
SCREENINGS = {
    "none": marked("none: every record counts"),
    "light": marked("light: only what cannot be a yield"),
    "default": marked("as declared (main analysis)"),
    "hard": marked("hard: tight limits, sound records lost"),
}
SCREENINGS_NOTE = marked(
    "Each time the main analysis, from strip yields made of the records left. Left out: share of "
    "the records inside the strips."
)
NO_ANSWER = marked("too little left to compare")
NO_RULES, ALL_RULES = marked("none"), marked("all, in their usual order")
LEFT_OUT_NOTE = marked(
    "Ground and grain as the monitor has them: width times distance, and its yield on that ground."
)

TABLES = {
    "strips": marked("Strips"),
    "sown": marked("What was sown against the plan"),
    "coefficients": marked("Coefficients of the main model"),
    "means": marked("Yield of each treatment by the main model, t/ha"),
    "differences": marked("Gain over the control by the main model, t/ha"),
    "variances": marked("Where the differences between strips come from"),
    "methods": marked("The gain by several methods"),
    "money": marked("What the gain is worth"),
    "budget": marked("Partial budget"),
    "left-out": marked("Records left out"),
    "sensitivity": marked("The gain under other screenings"),
    "settings": marked("Limits of the screening"),
    "inputs": marked("Input files"),
    "versions": marked("Software"),
}

#: Headings of columns that no input or log has; the others are in `trialkit.columns`.
HEADINGS = {
    "estimate": marked("Estimate"),
    "std_error": marked("Std. error"),
    "df": marked("df"),
    "t": marked("t"),
    "p": marked("p"),
    "low": marked("Low"),
    "high": marked("High"),
    "p_together": marked("p, together"),
    "low_together": marked("Low, together"),
    "high_together": marked("High, together"),
    "term": marked("Term"),
    "what": marked("What differs"),
    "variance": marked("Variance, (t/ha)²"),
    "method": marked("Method"),
    "gain_t_ha": marked("Gain, t/ha"),
    "low_t_ha": marked("Low"),
    "high_t_ha": marked("High"),
    "break_even_t_ha": marked("Break-even, t/ha"),
    "net_per_ha": marked("Net, {currency}/ha"),
    "net_low": marked("Low"),
    "net_high": marked("High"),
    "chance_paid": marked("Chance it paid"),
    "verdict": marked("Verdict"),
    "gross": marked("Gross, {currency}/ha"),
    "costs_per_ha": marked("Costs that vary, {currency}/ha"),
    "net": marked("Net, {currency}/ha"),
    "dominated": marked("Dominated"),
    "marginal_return_pct": marked("Marginal rate of return, %"),
    "records": marked("Records"),
    "share_pct": marked("Share of the log, %"),
    "grain_t": marked("Grain, t"),
    "level": marked("Screening"),
    "lost_pct": marked("Left out, %"),
    "limit": marked("Limit"),
    "setting": marked("Key in trial.toml"),
    "value": marked("Value"),
    "file": marked("File"),
    "sha256": marked("SHA-256"),
    "package": marked("Software"),
    "version": marked("Version"),
}

_TERMS = {"block": marked("block"), "strip": marked("strip"), "residual": marked("residual")}
YES, NO = marked("yes"), marked("no")
BUDGET_NOTE = marked(
    "Point estimates without their error: whether a difference is real is for the main model to "
    "say. Dominated: another treatment costs no more and nets at least as much."
)


def interval_note(confidence: float) -> str:
    """Say what low and high are."""
    return say("Low and high: {level} interval.", level=level(confidence))


def together_note(confidence: float) -> str:
    """Say what the two kinds of interval are."""
    return say(
        "Low and high: {level} interval of each by itself. Together: {level} that all of them hold "
        "at once (multivariate t).",
        level=level(confidence),
    )


def main_method(method: str) -> str:
    """Return the main method's name, told as the main one."""
    return say("{method} (main analysis)", method=say(method))


def term(name: str) -> str:
    """Return what a model names by its own word; a column of the trial's keeps its name."""
    return say(_TERMS.get(name, name))


def differing(what: str) -> str:
    """Return how a strip differs from the plan, from `Difference.what`."""
    return ", ".join(say(word) for word in what.split(", "))
