"""How what was sown differs from the plan, for `results/`."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import pandas as pd

from trialkit.trial.folder import Trial
from trialkit.trial.writing import write_csv, write_whole


def sown_table(trial: Trial) -> pd.DataFrame:
    """Return how strips differ from the plan.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    DataFrame
        One row a strip that is not as planned: `strip block planned sown what lost_m2 lost_pct
        note`; `sown` is empty where the strip is left out.
    """
    names = ["strip", "block", "planned", "sown", "what", "lost_m2", "lost_pct", "note"]
    rows = [[getattr(one, name) for name in names] for one in trial.sown_differences]
    return pd.DataFrame(rows, columns=names).round({"lost_m2": 1, "lost_pct": 2})


def not_as_planned(trial: Trial) -> dict[str, object]:
    """Return what `result.json` says of strips not sown as planned; nothing where all were.

    Parameters
    ----------
    trial
        An opened trial.
    """
    rows = [
        {name: value for name, value in asdict(one).items() if name != "block"}
        | {"lost_m2": round(one.lost_m2, 1), "lost_pct": round(one.lost_pct, 2)}
        for one in trial.sown_differences
    ]
    return {"not_as_planned": rows} if rows else {}


def write_sown(trial: Trial) -> list[Path]:
    """Write the differences and the layout that was analysed; nothing where all is as planned.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    list of Path
        The files written.
    """
    if not trial.sown_differences:
        return []
    layout = json.loads(trial.layout.to_json(drop_id=True))
    layout.pop("crs", None)  # GeoJSON is WGS 84 (RFC 7946, section 4)
    return [
        write_csv(trial.results / "as-sown.csv", sown_table(trial)),
        write_whole(trial.results / "layout-as-sown.geojson", json.dumps(layout) + "\n"),
    ]
