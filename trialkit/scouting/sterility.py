"""Sterile florets after frost: from counts on heads to the yield they may have cost."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.language import marked, say
from trialkit.scouting.strip_labels import (
    number_column,
    refuse_where,
    require_columns,
    with_strips,
)


def sterility_loss_pct(
    sterile: float, florets: float, *, sterile_without_frost_pct: float = 0.0
) -> float:
    """Return the share of yield that sterile florets can have cost at most, %.

    Parameters
    ----------
    sterile
        Florets (or spikelets) without a grain.
    florets
        Florets looked at.
    sterile_without_frost_pct
        Florets that stay empty without frost, %, from heads that were not frosted.

    Returns
    -------
    float
        %, 0 where no more are sterile than without frost.

    Raises
    ------
    ScoutingError
        If more are sterile than were looked at, or a number is below zero.

    Notes
    -----
    Loss = share of florets lost to frost. First-order: grains that are left do not grow larger
    (from memory; no worked example was found in print). So it is an upper bound.

    Examples
    --------
    >>> sterility_loss_pct(60, 300)
    20.0
    >>> round(sterility_loss_pct(60, 300, sterile_without_frost_pct=5), 1)
    15.8
    """
    if not (math.isfinite(florets) and florets > 0):
        raise ScoutingError(f"florets={florets:g} must be above zero.")
    if not 0 <= sterile <= florets:
        raise ScoutingError(
            f"sterile={sterile:g} of florets={florets:g} cannot be: sterile ones are part of them."
        )
    usual = _share(sterile_without_frost_pct)
    return 100 * max(0.0, (sterile / florets - usual) / (1 - usual))


def _share(pct: float) -> float:
    if not 0 <= pct < 100:
        raise ScoutingError(
            f"sterile_without_frost_pct={pct:g} is no percentage from 0 up to below 100."
        )
    return pct / 100


def sterility_by_strip(
    heads: pd.DataFrame, layout: pd.DataFrame, *, sterile_without_frost_pct: float = 0.0
) -> pd.DataFrame:
    """Return sterility and the loss it can have meant, strip by strip.

    Parameters
    ----------
    heads
        One row a head: `strip sterile florets`. Blank heads are passed over.
    layout
        One row a strip: `strip block treatment`.
    sterile_without_frost_pct
        Florets that stay empty without frost, %.

    Returns
    -------
    DataFrame
        One row a strip: `strip block treatment heads florets sterile_pct std_error_pct loss_pct`,
        for `compare_scores` and for plots. `std_error_pct` is of `sterile_pct` as the mean of
        that strip, from the scatter between its heads (ratio estimate; NaN for a single head):
        heads are no replicates of a treatment, strips are. `loss_pct` is an upper bound, see
        `sterility_loss_pct`.

    Raises
    ------
    ScoutingError
        If a number cannot be, or a strip is unknown.

    Examples
    --------
    >>> import pandas as pd
    >>> layout = pd.DataFrame({"strip": ["S1"], "block": ["B1"], "treatment": ["dressed"]})
    >>> heads = pd.DataFrame({"strip": "S1", "sterile": [6, 2, 4], "florets": [30, 28, 32]})
    >>> found = sterility_by_strip(heads, layout)
    >>> found[["heads", "sterile_pct", "std_error_pct"]].round(1).to_dict("list")
    {'heads': [3], 'sterile_pct': [13.3], 'std_error_pct': [3.6]}
    """
    what = marked("heads")
    require_columns(heads, ["strip", "sterile", "florets"], what)
    usual = _share(sterile_without_frost_pct)
    table = with_strips(heads, layout, what)
    sterile, florets = (number_column(table, name, what) for name in ("sterile", "florets"))
    refuse_where(
        table,
        (sterile < 0) | (florets < 0) | (sterile > florets),
        what,
        say("sterile florets below zero, or more than there were florets. Check both."),
    )
    refuse_where(
        table,
        florets == 0,
        what,
        say("a head without florets. Leave blank what was not looked at."),
    )
    refuse_where(
        table,
        np.isnan(sterile) != np.isnan(florets),
        what,
        say("only one of sterile and florets is filled in. Enter both."),
    )
    known = table.assign(sterile=sterile, florets=florets)[~np.isnan(sterile)]
    if known.empty:
        raise ScoutingError(say("No head was looked at: all are blank."))
    rows = []
    for strip, own in known.groupby("strip", sort=False):
        share = own["sterile"].sum() / own["florets"].sum()
        rows.append(
            {
                "strip": strip,
                "block": own["block"].iloc[0],
                "treatment": own["treatment"].iloc[0],
                "heads": len(own),
                "florets": int(own["florets"].sum()),
                "sterile_pct": 100 * share,
                "std_error_pct": 100 * _ratio_error(own, share),
                "loss_pct": 100 * max(0.0, (share - usual) / (1 - usual)),
            }
        )
    return pd.DataFrame(rows)


def _ratio_error(own: pd.DataFrame, share: float) -> float:
    """Return the standard error of a ratio of sums (Cochran 1977, ch. 6: from memory)."""
    if len(own) < 2:
        return math.nan
    left = (own["sterile"] - share * own["florets"]).to_numpy(dtype=np.float64)
    spread = math.sqrt(float((left**2).sum()) / (len(own) - 1) / len(own))
    return spread / float(own["florets"].mean())
