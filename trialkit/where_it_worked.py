"""Where did it work: the gain on the low ground of the strips and on the high.

Height is the one thing of the ground that every log with a good receiver tells. It stands for soil,
water and cold alike, so this says where, not why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.errors import noted
from trialkit.gain_along import AROUND_M, gain_along, gain_words
from trialkit.harvest import add_relief
from trialkit.language import marked, say
from trialkit.report.numbers import listed, opened, p_text, signed_t_ha

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping

    from trialkit.gain_along import GainAlong
    from trialkit.trial.config import TrialConfig

MEASURE = "relative_height_m"
#: A p below this is called a finding in the sentence.
_LEVEL = 0.05

ON_ONE_GROUND = marked(
    "No strip runs over ground both low and high, so the gain cannot be told by height. Strips "
    "that run up and down the slope would tell."
)
NOT_WHY = marked(
    "Low and high ground differ in soil, water and cold: this shows where the gain was larger this "
    "season, not why. It is one more look at the same strips, so hold it for a hint until another "
    "season shows it too."
)


@dataclass(frozen=True, slots=True, eq=False)
class HeightAnswer:
    """The gain by the height of the ground.

    Parameters
    ----------
    gains
        One row a treatment and height: `treatment at estimate std_error df low high`; `at` is the
        height above the surroundings, m, the gain over the control in t/ha.
    change
        Index treatment: `estimate std_error df p low high`, how much more it gains on the highest
        ground than on the lowest, t/ha.
    sentences
        One a treatment.
    notes
        What it rests on, and what it leaves open.
    """

    gains: pd.DataFrame
    change: pd.DataFrame
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def gain_by_height(
    log: pd.DataFrame, config: TrialConfig, *, around_m: float = AROUND_M
) -> HeightAnswer:
    """Test whether a treatment gains more on low ground or on high.

    Parameters
    ----------
    log
        The screened log inside the strips, as `harvest_season` has it, with heights.
    config
        What `trial.toml` says.
    around_m
        Radius of the surroundings that heights are compared with, m.

    Returns
    -------
    HeightAnswer

    Raises
    ------
    LogError
        If the log has no heights, or no strip has ground both low and high.
    ModelError
        If there are too few strips.

    Notes
    -----
    The method is that of `trialkit.frost_answer.gain_along_cold`, whose error rates are told there.

    Examples
    --------
    >>> import trialkit
    >>> from trialkit.shipped import shipped
    >>> trial = trialkit.open_trial(next(shipped("data-demo").glob("*frost*")))
    >>> harvested = trialkit.harvest_season(trial)
    >>> found = gain_by_height(harvested.log, trial.config)
    >>> bool(found.change.loc["dressed", "estimate"] < 0)
    True
    """
    with noted() as notes:
        relief = add_relief(log, around_m=around_m)
    held = (
        relief["kept"]
        & relief["strip"].notna()
        & relief[["yield_t_ha", MEASURE]].notna().all(axis="columns")
    )
    found = gain_along(relief[held], MEASURE, config, nothing=say(ON_ONE_GROUND))
    told = (say(NOT_WHY), *dict.fromkeys([*notes, *found.notes]), *_left_out(found))
    return HeightAnswer(found.gains, found.change, tuple(_sentences(found)), told)


def _sentences(found: GainAlong) -> Iterator[str]:
    changes = found.change.to_dict("index")
    for name, own in found.gains.groupby("treatment", sort=False):
        rows, change = own.to_dict("records"), changes[name]
        told = say(
            "{name} gained {low} on the lowest ground ({lowest} m against its surroundings) and "
            "{high} on the highest ({highest} m): {change} from one to the other (p {p}).",
            name=opened(str(name)),
            low=gain_words(rows[0]),
            lowest=signed_t_ha(rows[0]["at"], 1),
            high=gain_words(rows[-1]),
            highest=signed_t_ha(rows[-1]["at"], 1),
            change=gain_words(change),
            p=p_text(change["p"]),
        )
        yield f"{told} {_verdict(change)}"


def _verdict(change: Mapping[Hashable, float]) -> str:
    if not change["p"] < _LEVEL:
        return say("This does not settle whether the gain differs between low and high ground.")
    if change["estimate"] > 0:
        return say("The gain was larger on higher ground.")
    return say("The gain was larger on lower ground.")


def _left_out(found: GainAlong) -> Iterator[str]:
    if found.left_out:
        yield say(
            "Left out here, with too little ground both low and high: {strips}.",
            strips=listed(found.left_out),
        )
