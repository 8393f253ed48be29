"""Screen a log: every record that cannot be believed is left out, and it is said why.

Nothing is deleted; the rules and their sources stand in `trialkit.harvest.rules`.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogWarning
from trialkit.harvest.ground import area_ha, full_width_m, seconds, speed_m_s
from trialkit.harvest.metres import has_position
from trialkit.harvest.passes import NO_PASS, Flags, split_passes
from trialkit.harvest.rules import RULES, Records
from trialkit.harvest.settings import FOUND, Screening
from trialkit.harvest.transients import PassEnds, cutting_crop, find_pass_ends
from trialkit.language import marked, say

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: A rule that takes more of the records in passes than this is more likely a wrong limit.
_SUSPICIOUS_SHARE = 0.3

#: Recorded and stated width may differ by this share before it is worth a warning.
_WIDTH_SHARE = 0.1

#: Rules that hang on a limit in `[harvest.screening]`, and the limit.
_LIMIT_OF = {
    "position jump": "jump_m_s",
    "stopped or too slow": "speed_low_m_s",
    "too fast": "speed_high_m_s",
    "speed jump": marked("speed_jump_share and beside_jump_s"),
    "start of pass": "pass_start_s",
    "end of pass": "pass_end_s",
    "short pass": "least_pass_m",
    "frozen value": "frozen_s",
    "part swath": "swath_least_share",
    "overlap": "swath_least_share",
    "moisture out of range": marked("moisture_low_pct and moisture_high_pct"),
    "absurd yield": marked("yield_low_t_ha and yield_high_t_ha"),
    "global outlier": "outlier_sd",
    "local outlier": "local_outlier_sd",
}


def screen(
    log: pd.DataFrame,
    settings: Screening | None = None,
    *,
    boundary: GeoDataFrame | None = None,
    harvester_m: float | None = None,
    ends: PassEnds | None = None,
) -> pd.DataFrame:
    """Mark the records that cannot be believed, with the reason; delete none.

    Parameters
    ----------
    log
        From `read_log`, the grain-flow delay taken out. Passes are split where still to do.
    settings
        Limits; the usual ones by default.
    boundary
        The field; records outside are left out.
    harvester_m
        Full cutting width, m; by default the widest width often recorded.
    ends
        Starts and ends of passes, where `find_pass_ends` has been asked already.

    Returns
    -------
    DataFrame
        The log with `pass_id`, `distance_m`, `kept` and `reason` (empty where kept); and
        `swath_m` as the full width where the log has none.

    Warns
    -----
    LogWarning
        If a rule takes a suspicious share of the records, recorded and stated width differ, or
        passes overlap throughout.

    Examples
    --------
    >>> import pandas as pd
    >>> log = pd.DataFrame(
    ...     {"longitude": 0.0, "latitude": [1 + i * 2e-5 for i in range(50)]}
    ... ).assign(yield_t_ha=[3.0, 3.1] * 25)
    >>> log.loc[20, "yield_t_ha"] = 90.0
    >>> screened = screen(log)
    >>> screened.loc[~screened["kept"], "reason"].tolist()
    ['absurd yield']
    """
    limits = settings or Screening()
    if "pass_id" not in log:
        log = split_passes(log, jump_m_s=limits.jump_m_s)
    records = _records(log, boundary, harvester_m, settled_ends(log, limits, ends))
    by = np.full(len(log), -1, dtype=np.int8)
    for place, name in enumerate(limits.rules):
        taken = records.left & RULES[name](records, limits)
        by[taken] = place
        records.left[taken] = False
    _warn_of_suspicious(by[log["pass_id"].to_numpy() != NO_PASS], limits.rules)
    reason = np.array([*limits.rules, ""], dtype=object)[by]
    added = {"kept": records.left, "reason": reason}
    if "swath_m" not in log and harvester_m is not None:
        added = {"swath_m": np.full(len(log), float(harvester_m)), **added}
    return log.assign(**added)


def settled_ends(
    log: pd.DataFrame, limits: Screening, ends: PassEnds | None = None
) -> tuple[float, float]:
    """Return the seconds to leave out at the start and end of passes: given, or found.

    Parameters
    ----------
    log
        From `split_passes`, the grain-flow delay taken out.
    limits
        What `trial.toml` says.
    ends
        Starts and ends of passes, where `find_pass_ends` has been asked already.
    """
    start, end = limits.pass_start_s, limits.pass_end_s
    if start != FOUND and end != FOUND:
        return start, end
    ends = ends or find_pass_ends(log)
    return ends.start_s if start == FOUND else start, ends.end_s if end == FOUND else end


def _records(
    log: pd.DataFrame,
    boundary: GeoDataFrame | None,
    harvester_m: float | None,
    ends_s: tuple[float, float],
) -> Records:
    recorded = full_width_m(log)
    if recorded and harvester_m and abs(recorded / harvester_m - 1) > _WIDTH_SHARE:
        warnings.warn(
            say(
                "The log's full cut width is {recorded:.2f} m, but harvester_m is {given:g} m. One "
                "of them is wrong, and with it every yield or the part swaths. Check the unit of "
                "swath_m and harvester_m in trial.toml.",
                recorded=recorded,
                given=harvester_m,
            ),
            LogWarning,
            stacklevel=3,
        )
    known = has_position(log)
    return Records(
        log=log,
        known=known,
        clock=seconds(log),
        speed=speed_m_s(log),
        cutting=cutting_crop(log),
        full_m=harvester_m or recorded,
        outside=known & ~_inside(log, boundary),
        start_s=ends_s[0],
        end_s=ends_s[1],
        left=np.ones(len(log), dtype=bool),
    )


def _inside(log: pd.DataFrame, boundary: GeoDataFrame | None) -> Flags:
    if boundary is None:
        return np.ones(len(log), dtype=bool)
    import shapely

    field = boundary.to_crs("EPSG:4326").geometry.union_all()
    shapely.prepare(field)
    inside = shapely.contains_xy(field, log["longitude"].to_numpy(), log["latitude"].to_numpy())
    return np.asarray(inside, dtype=bool)


def _warn_of_suspicious(by: NDArray[np.int8], rules: tuple[str, ...]) -> None:
    """Warn where a rule took so much of the passes that its limit is more likely wrong."""
    counts = np.bincount(by[by >= 0], minlength=len(rules)) / max(1, len(by))
    for name, share in zip(rules, counts.tolist(), strict=True):
        limit = _LIMIT_OF.get(name)
        if limit and share > _SUSPICIOUS_SHARE:
            warnings.warn(
                say(
                    "{left_out_pct:.0f}% of the records in passes are left out as '{reason}'. That "
                    "many point to a wrong unit or limit. Check [harvest.units], and {limits} "
                    "under [harvest.screening] in trial.toml.",
                    left_out_pct=100 * share,
                    reason=say(name),
                    limits=say(limit),
                ),
                LogWarning,
                stacklevel=3,
            )


def screening_account(log: pd.DataFrame) -> pd.DataFrame:
    """Count the records left out, by reason.

    Parameters
    ----------
    log
        From `screen` or `assign_strips`.

    Returns
    -------
    DataFrame
        One row a reason, in the order of the rules: `reason`, `records`, `share_pct` (of all
        records), `area_ha` (ground they stand for; NaN where no width is known), `grain_t` (their
        yield times that ground, as the monitor has it; NaN where either is not known).
    """
    left_out = log.loc[~log["kept"], "reason"]
    reasons = dict.fromkeys([*RULES, *left_out])
    area = area_ha(log)
    ground = pd.Series(np.nan if area is None else area, index=log.index)
    grain = ground * log["yield_t_ha"]
    rows = []
    for name in reasons:
        here = left_out.index[left_out == name]
        if len(here):
            share = 100.0 * len(here) / len(log)
            sums = [part.loc[here].sum(min_count=1) for part in (ground, grain)]
            rows.append((name, len(here), share, *sums))
    names = ["reason", "records", "share_pct", "area_ha", "grain_t"]
    return pd.DataFrame(rows, columns=names)
