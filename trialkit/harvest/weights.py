"""Scales: strip yields without a monitor, and loads to put the monitor right."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning, TrialFolderError
from trialkit.harvest.grain import at_standard_moisture
from trialkit.harvest.ground import area_ha, column, interval_s
from trialkit.harvest.strips import STRIP_COLUMNS, trial_strips
from trialkit.language import marked, say

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FILE = "weights.csv"

#: A factor outside these is more likely a mistake in the weights than the monitor's fault:
#: common practice, no source. Monitors that were ever calibrated read within some 10%.
_SOUND_FACTOR = (0.7, 1.4)

_ABOVE = marked("Over {strips} strips weighed, the monitor reads {off:.1%} above the scales.")
_BELOW = marked("Over {strips} strips weighed, the monitor reads {off:.1%} below the scales.")


def weigh_strips(
    weights: pd.DataFrame, layout: GeoDataFrame, *, standard_moisture_pct: float | None
) -> pd.DataFrame:
    """Return strip yields from the scales alone.

    Parameters
    ----------
    weights
        One row a weighing: `strip`, `mass_kg`, and where known `moisture_pct` and `area_ha` (the
        ground this weight was cut from).
    layout
        Strips; the area of a strip is that of its polygon where `area_ha` is not given.
    standard_moisture_pct
        Moisture the grain is sold at, %; needed where moisture was measured.

    Returns
    -------
    DataFrame
        One row a strip, in layout order: `strip block treatment yield_t_ha area_ha n
        moisture_pct`; `n` is the number of weighings, NaN stands where a strip was not weighed.

    Raises
    ------
    TrialFolderError
        If a strip is not in the layout, a weight or an area makes no sense, or the standard
        moisture is missing.

    Warns
    -----
    LogWarning
        If moisture is missing (yield stays as harvested), or a strip was not weighed.
    """
    from trialkit.position import local_grid

    strips = trial_strips(layout)
    table = pd.DataFrame({n: strips[n].astype(str) for n in ("strip", "block", "treatment")})
    table = table.set_index("strip")
    drawn = strips.to_crs(local_grid(strips)).geometry.area.to_numpy() / 10_000.0
    weights = weights.assign(strip=weights["strip"].astype(str))
    _check_weights(weights, table.index)
    dry, moisture = _to_standard(weights, standard_moisture_pct)
    by_strip = pd.DataFrame(
        {"strip": weights["strip"], "kg": dry, "wet": weights["mass_kg"], "water": moisture}
    )
    by_strip["water"] = by_strip["water"] * by_strip["wet"]
    sums = by_strip.groupby("strip").agg(
        kg=("kg", "sum"),
        wet=("wet", "sum"),
        water=("water", lambda water: water.sum(skipna=False)),
        n=("kg", "size"),
    )
    sums = sums.reindex(table.index)
    table["area_ha"] = _areas(weights, table.index, drawn)
    table["yield_t_ha"] = sums["kg"] / 1000.0 / table["area_ha"]
    table["n"] = sums["n"].fillna(0).astype(int)
    table["moisture_pct"] = sums["water"] / sums["wet"]
    missing = [str(name) for name in table.index[table["n"] == 0]]
    if missing:
        warnings.warn(
            say(
                "{file}: no weight for {strips}. The analysis goes on without.",
                file=FILE,
                strips=", ".join(missing),
            ),
            LogWarning,
            stacklevel=2,
        )
    return table.reset_index()[STRIP_COLUMNS]


def _check_weights(weights: pd.DataFrame, known: pd.Index[str]) -> None:
    foreign = sorted(set(weights["strip"]) - set(known))
    if foreign:
        raise TrialFolderError(
            f"{FILE}: {', '.join(foreign)} is not a strip of layout.geojson. "
            f"Its strips are {', '.join(known)}."
        )
    for name in ("mass_kg", "area_ha"):
        if name in weights:
            bad = weights[~(weights[name] > 0) & (weights[name].notna() | (name == "mass_kg"))]
            if len(bad):
                raise TrialFolderError(
                    f"{FILE}, strip {bad['strip'].iloc[0]}: {name} {bad[name].iloc[0]:g} makes no "
                    "sense. It must be above zero."
                )


def _to_standard(
    weights: pd.DataFrame, standard_pct: float | None, what: str = "strip"
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return weights at the standard moisture and the moistures; as harvested if not measured."""
    mass = weights["mass_kg"].to_numpy(dtype=np.float64)
    moisture = column(weights, "moisture_pct")
    if moisture is None or np.isnan(moisture).all():
        warnings.warn(
            say(
                "{file}: no moisture was measured, so the weights stay as harvested. Grain cut at "
                "different moistures is then not comparable.",
                file=FILE,
            ),
            LogWarning,
            stacklevel=3,
        )
        return mass, np.full(len(mass), np.nan)
    if np.isnan(moisture).any():
        name = weights[what].to_numpy()[np.isnan(moisture)][0]
        raise TrialFolderError(
            f"{FILE}, {what} {name}: the moisture is missing, and other weights have one. Give "
            "it for every weight, or for none."
        )
    if standard_pct is None:
        raise TrialFolderError(
            f"{FILE}: moisture was measured, and nobody has said which moisture to bring the "
            "yields to. Write under [harvest] in trial.toml: standard_moisture_pct = ... (the "
            "moisture your grain is sold at)."
        )
    return at_standard_moisture(mass, moisture, standard_pct), moisture


def _areas(
    weights: pd.DataFrame, strips: pd.Index[str], drawn: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the area of each strip, ha: given with its weights, else as drawn."""
    if "area_ha" not in weights:
        return drawn
    given = weights.groupby("strip")["area_ha"].agg(lambda area: area.sum(skipna=False))
    area = given.reindex(strips).to_numpy(dtype=np.float64)
    return np.where(np.isnan(area), drawn, area)


def calibrate(
    log: pd.DataFrame, loads: pd.DataFrame, standard_moisture_pct: float | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Correct the monitor by loads weighed on scales.

    Parameters
    ----------
    log
        A log with times, every record of the loads in it, kept or not.
    loads
        One row a load: `load`, `start`, `end` (by the log's clock), `mass_kg`, and where known
        `moisture_pct`.
    standard_moisture_pct
        Moisture that the log's yields are at, %; needed where the load's moisture was measured.

    Returns
    -------
    log, factors
        The log with yield, flow and grain multiplied by the factor of their load (records outside
        the loads by that of all loads together); and one row a load: `load`, `scales_kg`,
        `monitor_kg` (both at the standard moisture, or both as harvested where the load's
        moisture was not measured), `factor`, `remark` (empty where the factor is sound).

    Raises
    ------
    LogError
        If the log has no times.
    TrialFolderError
        If a load's times make no sense, loads overlap, no grain was logged in one, or the
        standard moisture is missing.

    Warns
    -----
    LogWarning
        If a factor is absurd, records lie outside the loads, or no moisture was measured.

    Notes
    -----
    At the standard moisture the factor compares dry matter, so it puts the moisture sensor right
    along with the flow sensor.
    """
    if "time" not in log:
        raise LogError(
            "The log has no times, so nobody knows which records belong to which load. Name a "
            "column for time under [harvest.columns], or weigh by strip."
        )
    loads = _timed(loads)
    number = _load_of(log, loads)
    weighed, moisture = _to_standard(loads, standard_moisture_pct, what="load")
    monitor = _monitored(log, as_harvested=bool(np.isnan(moisture).all()))
    logged = np.array([np.nansum(monitor[number == place]) for place in range(len(loads))])
    for load, grain in zip(loads.itertuples(index=False), logged, strict=True):
        if not grain > 0:
            raise TrialFolderError(
                f"{FILE}, load {load.load}: the log has no grain between {load.start} and "
                f"{load.end}. Check the times against the log's clock."
            )
    factor = weighed / logged
    table = pd.DataFrame(
        {
            "load": loads["load"].astype(str).to_numpy(),
            "scales_kg": weighed,
            "monitor_kg": logged,
            "factor": factor,
            "remark": [_remark(float(one)) for one in factor],
        }
    )
    _warn_of_loads(table, number >= 0)
    applied = np.append(factor, weighed.sum() / logged.sum())[number]
    names = ("flow_kg_s", "yield_t_ha", "mass_kg", "grain_kg")
    return log.assign(**{n: log[n] * applied for n in names if n in log}), table


def _timed(loads: pd.DataFrame) -> pd.DataFrame:
    """Return loads with start and end as times, in their order and checked."""
    try:
        times = {
            name: pd.to_datetime(loads[name].astype(str), format="ISO8601")
            for name in ("start", "end")
        }
    except ValueError as error:
        raise TrialFolderError(
            f"{FILE}: start or end of a load is not a time ({str(error)[:80]}). Write it like "
            "2025-11-24 10:30:00."
        ) from error
    loads = loads.assign(**times).sort_values("start", ignore_index=True)
    names, starts, ends = loads["load"].tolist(), loads["start"].tolist(), loads["end"].tolist()
    for number, name in enumerate(names):
        if not starts[number] < ends[number]:
            raise TrialFolderError(f"{FILE}, load {name}: it ends before it starts.")
        if number and starts[number] < ends[number - 1]:
            raise TrialFolderError(
                f"{FILE}, load {name}: it starts before load {names[number - 1]} ends. "
                "A record can be in one load only."
            )
    return loads


def _load_of(log: pd.DataFrame, loads: pd.DataFrame) -> NDArray[np.int64]:
    """Return the number of each record's load, −1 for none."""
    time = log["time"].to_numpy(dtype="datetime64[ms]")
    start, end = (loads[name].to_numpy(dtype="datetime64[ms]") for name in ("start", "end"))
    place = np.searchsorted(start, time, side="right") - 1
    inside = (place >= 0) & (time < end[np.maximum(place, 0)])
    return np.where(inside, place, -1)


def _monitored(log: pd.DataFrame, *, as_harvested: bool) -> NDArray[np.float64]:
    """Return the grain of each record by the monitor, kg: as harvested where that is asked for."""
    flow, interval = column(log, "flow_kg_s"), interval_s(log)
    mass, grain = column(log, "mass_kg"), column(log, "grain_kg")
    if as_harvested and mass is not None:
        return mass
    if as_harvested and flow is not None and interval is not None:
        return flow * interval
    if grain is not None:
        return grain
    area = area_ha(log)
    if area is None:
        raise LogError(
            "The log has neither grain nor a cut width, so loads cannot be compared with it. Name "
            "a column for swath_m under [harvest.columns]."
        )
    return np.asarray(log["yield_t_ha"].to_numpy(dtype=np.float64) * area * 1000.0)


def _remark(factor: float) -> str:
    low, high = _SOUND_FACTOR
    if low <= factor <= high:
        return ""
    return say("a factor of {factor:.2f} is absurd: check weight, times and units", factor=factor)


def _warn_of_loads(table: pd.DataFrame, inside: NDArray[np.bool_]) -> None:
    for row in table[table["remark"] != ""].itertuples(index=False):
        said = say("{file}, load {load}: {remark}.", file=FILE, load=row.load, remark=row.remark)
        warnings.warn(said, LogWarning, stacklevel=3)
    if not inside.all():
        warnings.warn(
            say(
                "{outside_pct:.0f}% of the records lie outside the loads in {file}. They got the "
                "factor of all loads together.",
                outside_pct=100 * (1 - inside.mean()),
                file=FILE,
            ),
            LogWarning,
            stacklevel=3,
        )


def against_scales(monitor: pd.DataFrame, scales: pd.DataFrame | None) -> str:
    """Say how the monitor compares with scales, or that nobody knows.

    Parameters
    ----------
    monitor
        One row a strip by the monitor: `strip yield_t_ha`.
    scales
        The same by the scales; None where no strip was weighed.

    Returns
    -------
    str
        One sentence or two; empty where no strip has both.
    """
    if scales is None:
        return say(
            "The monitor was not checked on scales. If it reads 5% high, so do the yields and the "
            "gain. Weigh strips or loads and give weights.csv."
        )
    both = monitor.merge(scales, on="strip", suffixes=("", "_scales")).dropna(
        subset=["yield_t_ha", "yield_t_ha_scales"]
    )
    if both.empty:
        return ""
    off = both["yield_t_ha"].mean() / both["yield_t_ha_scales"].mean() - 1
    template = _ABOVE if off > 0 else _BELOW
    return say(template, strips=len(both), off=abs(off))
