"""Whether the arms were sown alike, and by how much a thicker stand flatters one of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import SowingError
from trialkit.language import marked, say
from trialkit.sowing.sensible import by_name, named, number, optional, shown

#: Yield, %, that 10% more plants bring. Common practice, no source: cereals make up for thin
#: stands by tillering. In the rice seed rates of Gomez and Gomez 1984, table 2.5, the slope over
#: 25 to 150 kg/ha is about half of this, and downwards.
RESPONSE_PCT = 1.0

#: Arms that differ by less than this in plants were sown alike, %. Common practice, no source.
_ALIKE_PCT = 5.0


_THICKER = marked("'{treatment}' was sown {share:.0%} thicker than '{control}'.")
_THINNER = marked("'{treatment}' was sown {share:.0%} thinner than '{control}'.")
#: Whether it flatters the yield, and whether the yield is known.
_EFFECTS = {
    (True, False): marked(
        "That alone flatters its yield by about {share:.1%} whatever the dressing does."
    ),
    (False, False): marked(
        "That alone holds back its yield by about {share:.1%} whatever the dressing does."
    ),
    (True, True): marked(
        "That alone flatters its yield by about {share:.1%}, {tonnes:.2f} t/ha, whatever the "
        "dressing does."
    ),
    (False, True): marked(
        "That alone holds back its yield by about {share:.1%}, {tonnes:.2f} t/ha, whatever the "
        "dressing does."
    ),
}


@dataclass(frozen=True, slots=True, eq=False)
class ArmCheck:
    """Plants of each arm beside those of the control.

    Parameters
    ----------
    table
        One row a treatment, columns `treatment plants_m2 difference_pct bias_pct bias_t_ha`:
        plants against the control, and the yield that the difference in plants alone would
        bring. `bias_t_ha` is blank (NaN) without a yield.
    alike
        Whether all arms are within the tolerance.
    tolerance_pct
        How far plants may differ, ± %.
    assumption
        What was taken for granted about yield and plants, in a sentence.
    warnings
        A sentence for each arm that was not sown alike.
    """

    table: pd.DataFrame
    alike: bool
    tolerance_pct: float
    assumption: str
    warnings: tuple[str, ...]


def compare_arms(
    plants_m2: Mapping[str, float],
    control: str,
    *,
    tolerance_pct: float = _ALIKE_PCT,
    response_pct: float | None = None,
    yield_t_ha: float | None = None,
) -> ArmCheck:
    """Return whether the arms were sown alike, and the bias in yield if not.

    Parameters
    ----------
    plants_m2
        Plants sown a square metre by treatment, as from `plants_sown`; seeds/m² will do.
    control
        Name of the untreated control.
    tolerance_pct
        How far plants may differ, ± %.
    response_pct
        Yield, %, that 10% more plants bring at these densities; negative where thinner stands
        yield more. From your own or a published seed-rate trial; None for 1% (common practice,
        no source).
    yield_t_ha
        Yield to expect, t/ha.

    Returns
    -------
    ArmCheck
        Differences, bias, the assumption and warnings.

    Raises
    ------
    SowingError
        If a number makes no sense, or the control is not among the treatments.

    Notes
    -----
    The bias is a straight line through the control's density. It is for differences that should
    not be there, of some percent; it says nothing on the best density.

    Examples
    --------
    >>> check = compare_arms({"untreated": 150, "dressed": 138}, "untreated", yield_t_ha=3)
    >>> check.alike, check.table["bias_t_ha"].round(3).tolist()
    (False, [0.0, -0.024])
    """
    given = by_name(plants_m2)
    if given is None or len(given) < 2:
        raise SowingError("Give the plants of two treatments or more: {name: plants a m²}.")
    stands = {
        named(name, "treatment"): number(plants, f"stand of '{name}'", "plants/m²", 0.5, 5000)
        for name, plants in given.items()
    }
    if not isinstance(control, str) or control not in stands:
        raise SowingError(f"There is no treatment '{control}'. There are: {', '.join(stands)}.")
    allowed = number(tolerance_pct, "tolerance", "%", 0.1, 50)
    response = optional(response_pct, "response of the yield", "%", -10, 10)
    crop = optional(yield_t_ha, "yield", "t/ha", 0.05, 100)
    slope = RESPONSE_PCT if response is None else response
    table = pd.DataFrame({"treatment": list(stands), "plants_m2": list(stands.values())})
    table["difference_pct"] = 100 * (table["plants_m2"] / stands[control] - 1)
    table["bias_pct"] = table["difference_pct"] * slope / 10
    table["bias_t_ha"] = table["bias_pct"] / 100 * (float("nan") if crop is None else crop)
    off = table[table["difference_pct"].abs() > allowed * (1 + 1e-9)]
    if response is None:
        assumption = say(
            "10% more plants are taken to bring {response}% of yield (common practice, no source).",
            response=shown(slope),
        )
    else:
        assumption = say(
            "10% more plants are taken to bring {response}% of yield.", response=shown(slope)
        )
    return ArmCheck(
        table=table,
        alike=off.empty,
        tolerance_pct=allowed,
        assumption=assumption,
        warnings=tuple(
            _sentence(name, control, difference, bias, crop, assumption)
            for name, difference, bias in zip(
                off["treatment"], off["difference_pct"], off["bias_pct"], strict=True
            )
        ),
    )


def _sentence(
    name: str, control: str, difference: float, bias: float, crop: float | None, assumption: str
) -> str:
    words = _THICKER if difference > 0 else _THINNER
    sown = say(
        words,
        treatment=name,
        share=abs(difference) / 100,
        control=control,
    )
    tonnes = {} if crop is None else {"tonnes": abs(bias) / 100 * crop}
    effect = say(_EFFECTS[bias > 0, crop is not None], share=abs(bias) / 100, **tonnes)
    return f"{sown} {effect} {assumption}"
