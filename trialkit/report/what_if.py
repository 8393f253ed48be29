"""Controls in a notebook: move price, cost or rate and see the answer change.

The sums come from `trialkit.money` and the rehearsal, the pictures from the report; nothing is
worked out here. Each control is a labelled number, for the keyboard, with a slider beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from trialkit.errors import TrialkitError
from trialkit.language import say
from trialkit.report import what_if_words as words
from trialkit.report.pieces import bullets
from trialkit.report.pieces import words as paragraph
from trialkit.report.price_words import beside_the_picture
from trialkit.report.wording import verdict_sentence
from trialkit.result import Summary
from trialkit.selling import selling_of

if TYPE_CHECKING:
    from ipywidgets import HBox, VBox

    from trialkit.design import Rehearsal
    from trialkit.report.pieces import Shown
    from trialkit.result import Comparison
    from trialkit.selling import Selling
    from trialkit.trial.config import TrialConfig

#: Prices that the picture of break-even is drawn over.
_PRICES = 41


@dataclass(frozen=True, slots=True)
class Dial:
    """One number to be moved.

    Parameters
    ----------
    label
        What it is, with its unit.
    value
        Where it starts.
    low, high, step
        How far it goes, and in what steps.
    """

    label: str
    value: float
    low: float
    high: float
    step: float


def what_if(answer: Summary | Comparison, config: TrialConfig) -> VBox:
    """Return controls for price, cost and rate that redraw payoff and break-even.

    Parameters
    ----------
    answer
        What the season says: all of it, or one treatment against the control.
    config
        What `trial.toml` says.

    Returns
    -------
    VBox
        For a notebook to show.

    Examples
    --------
    In a notebook, where `result` comes from `trialkit.analyse`::

        what_if(result.summary, result.config)
    """
    from ipywidgets import Dropdown, VBox

    comparisons = answer.comparisons if isinstance(answer, Summary) else (answer,)
    quality = answer.grain_quality if isinstance(answer, Summary) else None
    sold = selling_of(quality, config)
    panels = [_season_panel(comparison, config, sold) for comparison in comparisons]
    if len(panels) == 1:
        return panels[0]
    names = [(comparison.treatment, place) for place, comparison in enumerate(comparisons)]
    chosen = Dropdown(options=names, value=0, description=say(words.TREATMENT_LABEL))
    whole = VBox([chosen, panels[0]])

    def choose(_: object) -> None:
        whole.children = (chosen, panels[chosen.value])

    chosen.observe(choose, names="value")
    return whole


def what_if_planned(
    rehearsal: Rehearsal,
    config: TrialConfig,
    *,
    cost_per_ha: float,
    hoped_gain_t_ha: float,
    mean_t_ha: float,
    cv_pct: float,
) -> VBox:
    """Return controls for price, cost and the gain hoped for that redraw what a trial could tell.

    Parameters
    ----------
    rehearsal
        The layout over past yields.
    config
        What `trial.toml` says.
    cost_per_ha
        What the dressing costs beyond the control, money per hectare.
    hoped_gain_t_ha
        Gain hoped for, t/ha.
    mean_t_ha
        Mean yield expected, t/ha.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.

    Returns
    -------
    VBox
        For a notebook to show.
    """
    dials = {
        "price_per_t": _price_dial(config, selling_of(None, config)),
        "cost_per_ha": _cost_dial(cost_per_ha, config),
        "gain_t_ha": Dial(
            say(words.HOPED_LABEL), hoped_gain_t_ha, 0.0, max(0.5, 3 * hoped_gain_t_ha), 0.01
        ),
    }

    def show(given: Mapping[str, float]) -> list[Shown]:
        return planned_answer(rehearsal, config, mean_t_ha=mean_t_ha, cv_pct=cv_pct, **given)

    return _panel(dials, show)


def season_answer(
    comparison: Comparison,
    config: TrialConfig,
    *,
    price_per_t: float,
    cost_per_ha: float,
    rate_pct: float = 100.0,
    prices_per_t: tuple[float, float] | None = None,
    selling: Selling | None = None,
) -> list[Shown]:
    """Return the season's answer at another price, cost or rate, in words and as a picture.

    Parameters
    ----------
    comparison
        The treatment against the control.
    config
        What `trial.toml` says. Its range of prices moves along with the price.
    price_per_t
        Price of grain, money per tonne; where it is sold by grade, of the control's.
    cost_per_ha
        Cost of the dressing at the trial's rate beyond the control, money per hectare.
    rate_pct
        Rate of the dressing, % of the trial's: the cost follows it, the gain does not.
    prices_per_t
        Lowest and highest price of the picture; about the price if not given.
    selling
        What the grain was sold for: what a grade fetches more stays as it was. At the price of
        `trial.toml` if not given.

    Returns
    -------
    list
        Pieces to show, one below the other.

    Raises
    ------
    MoneyError
        If a number makes no sense.
    """
    from trialkit.money import break_even_curve, likely_prices, payoff
    from trialkit.report.money_pictures import break_even_picture

    money, analysis = config.money, config.analysis
    gain, error, df = comparison.gain_t_ha, comparison.std_error_t_ha, comparison.df
    cost = cost_per_ha * rate_pct / 100
    sold = selling or selling_of(None, config)
    span = _moved(sold.price_range, price_per_t / sold.price_per_t)
    grade = sold.price_gains.get(comparison.treatment)
    _, saved = config.extra_cost(comparison.treatment)
    paid = payoff(
        gain, error, df, price_per_t=price_per_t, cost_per_ha=cost, price_range=span,
        saved_per_ha=saved, price_gain=grade,
        confidence=analysis.confidence,
        paid_at=analysis.paid_at, did_not_pay_at=analysis.did_not_pay_at,
    )  # fmt: skip
    prices = likely_prices(price_per_t, span)
    if prices_per_t is not None:
        prices = np.linspace(*prices_per_t, _PRICES)
    if grade is not None:  # a grade that fetches less than nothing says nothing
        prices = prices[prices + grade.least_per_t > 0]
    curve = break_even_curve(
        gain, error, df, prices.tolist(), saved_per_ha=saved, price_gain=grade,
        paid_at=analysis.paid_at, did_not_pay_at=analysis.did_not_pay_at,
    )  # fmt: skip
    told = paragraph(
        words.taken(
            comparison, price_per_t=price_per_t, price_range=span, cost_per_ha=cost,
            currency=money.currency,
        ),
        verdict_sentence(replace(comparison, **asdict(paid)), money.currency),
        say(words.OTHER_RATE) if rate_pct != 100 else "",
    )  # fmt: skip
    picture = break_even_picture(
        curve, price_per_t=price_per_t, cost_per_ha=cost, price_range=span, currency=money.currency
    )
    worth = None if grade is None else grade.through_grade_per_ha
    return [told, picture, paragraph(beside_the_picture(saved, worth, money.currency))]


def planned_answer(
    rehearsal: Rehearsal,
    config: TrialConfig,
    *,
    price_per_t: float,
    cost_per_ha: float,
    gain_t_ha: float,
    mean_t_ha: float,
    cv_pct: float,
) -> list[Shown]:
    """Return what a planned trial could tell, in words and as a picture.

    Parameters
    ----------
    rehearsal
        The layout over past yields.
    config
        What `trial.toml` says.
    price_per_t, cost_per_ha
        Price of grain and cost of the dressing, money per tonne and per hectare.
    gain_t_ha
        Gain hoped for, t/ha.
    mean_t_ha
        Mean yield expected, t/ha.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.

    Returns
    -------
    list
        Pieces to show, one below the other.

    Raises
    ------
    DesignError
        If a number makes no sense, or the gain hoped for is just the one that pays.
    """
    from trialkit.design import foresee
    from trialkit.report.planning_pictures import rehearsal_picture

    analysis = config.analysis
    break_even = cost_per_ha / price_per_t
    ahead = foresee(
        rehearsal.blocks,
        cv_pct,
        mean_t_ha=mean_t_ha,
        break_even_t_ha=break_even,
        expected_t_ha=gain_t_ha,
        layout="pairs" if rehearsal.treatments == 2 else "blocks",
        treatments=rehearsal.treatments,
    )
    said = rehearsal.verdicts(
        [gain_t_ha], break_even, paid_at=analysis.paid_at, did_not_pay_at=analysis.did_not_pay_at
    )
    shares = said[["paid_pct", "not_settled_pct", "did_not_pay_pct"]].to_numpy(dtype=float)[0]
    told = bullets(
        [
            words.pays_from(
                break_even,
                price_per_t=price_per_t,
                cost_per_ha=cost_per_ha,
                currency=config.money.currency,
            ),
            ahead.sentence,
            words.would_say(gain_t_ha, shares.tolist()),
        ]
    )
    if np.isnan(shares).any():
        return [told]
    return [told, rehearsal_picture({"this layout": rehearsal}, break_even)]


def _season_panel(comparison: Comparison, config: TrialConfig, selling: Selling) -> VBox:
    cost, _ = config.extra_cost(comparison.treatment)
    dials = {
        "price_per_t": _price_dial(config, selling),
        "cost_per_ha": _cost_dial(cost, config),
        "rate_pct": Dial(say(words.RATE_LABEL), 100.0, 25.0, 200.0, 5.0),
    }
    # The picture keeps its axes wherever the controls are moved, so that the dot is what moves.
    price, central = dials["price_per_t"], selling.price_per_t
    least, most = selling.price_range or (central, central)
    prices = price.low * least / central, price.high * most / central

    def show(given: Mapping[str, float]) -> list[Shown]:
        return season_answer(comparison, config, prices_per_t=prices, selling=selling, **given)

    return _panel(dials, show)


def _price_dial(config: TrialConfig, selling: Selling) -> Dial:
    price = selling.price_per_t
    low, high = selling.price_range or (price, price)
    step = _step(price)
    ends = min(low, price / 2), max(high, 1.5 * price)
    return Dial(words.price_label(config.money.currency), round(price, 2), *_on(step, *ends), step)


def _cost_dial(cost_per_ha: float, config: TrialConfig) -> Dial:
    # A tenth of a tonne of grain, where the dressing costs nothing to multiply.
    most = max(3 * cost_per_ha, config.money.price_per_t / 10)
    step = _step(cost_per_ha or most)
    return Dial(words.cost_label(config.money.currency), cost_per_ha, *_on(step, 0.0, most), step)


def _step(value: float) -> float:
    """Return a step of a power of ten, a hundredth to a thousandth of a value."""
    return float(10.0 ** (np.floor(np.log10(value)) - 2))


def _on(step: float, low: float, high: float) -> tuple[float, float]:
    """Return limits on whole steps."""
    return float(np.floor(low / step)) * step, float(np.ceil(high / step)) * step


def _moved(span: tuple[float, float] | None, share: float) -> tuple[float, float] | None:
    return None if span is None else (span[0] * share, span[1] * share)


def _panel(dials: Mapping[str, Dial], show: Callable[[Mapping[str, float]], list[Shown]]) -> VBox:
    """Return the controls above what they show, redrawn whenever one has been moved."""
    from ipywidgets import HTML, Button, VBox

    rows = {name: _row(dial) for name, dial in dials.items()}
    boxes = {name: row.children[0] for name, row in rows.items()}
    shown = HTML()
    reset = Button(description=say(words.RESET), tooltip=say(words.RESET_TIP))

    def redraw(_: object = None) -> None:
        given = {name: float(box.value) for name, box in boxes.items()}
        try:
            parts = show(given)
        except TrialkitError as error:
            parts = [paragraph(str(error))]
        shown.value = f'<div role="status">{"".join(part.html() for part in parts)}</div>'

    def back(_: object) -> None:
        for name, box in boxes.items():
            box.value = dials[name].value

    for box in boxes.values():
        box.observe(redraw, names="value")
    reset.on_click(back)
    redraw()
    return VBox([*rows.values(), reset, shown])


def _row(dial: Dial) -> HBox:
    """Return a labelled number with a slider beside it; either moves the other."""
    from ipywidgets import BoundedFloatText, FloatSlider, HBox, jslink

    ends = {"value": dial.value, "min": dial.low, "max": dial.high, "step": dial.step}
    box = BoundedFloatText(
        **ends,
        description=dial.label,
        style={"description_width": "15em"},
        layout={"width": "24em"},
    )
    slider = FloatSlider(
        **ends, readout=False, continuous_update=False, tooltip=dial.label, layout={"width": "20em"}
    )
    jslink((box, "value"), (slider, "value"))
    return HBox([box, slider])
