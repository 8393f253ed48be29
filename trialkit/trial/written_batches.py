"""The batches that the rows of `dressing.csv` tell of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

_COLUMNS = [
    "treatment", "date", "start", "end", "last_sown", "seed_t", "litres", "litres_per_t",
    "in_mix_h", "on_seed_h",
]  # fmt: skip


def batches_of(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Return the rows of each batch.

    Parameters
    ----------
    rows
        Rows of `dressing.csv`, every column there, times as times.
    """
    numbers: list[int] = []
    seen: set[str] = set()
    last: tuple[Any, ...] | None = None
    for row in rows.to_dict("records"):
        key = (row["treatment"], row["date"], None if pd.isna(row["start"]) else row["start"])
        product = row["product"].casefold()
        if key != last or product in seen:
            seen = set()
            numbers.append(numbers[-1] + 1 if numbers else 0)
        else:
            numbers.append(numbers[-1])
        seen.add(product)
        last = key
    return [batch for _, batch in rows.groupby(numbers, sort=False)]


def batch_table(batches: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return one row a batch: what went into it, and how long it stood.

    Parameters
    ----------
    batches
        From `batches_of`.
    """
    return pd.DataFrame([_row(batch) for batch in batches], columns=_COLUMNS)


def _row(batch: pd.DataFrame) -> list[object]:
    start, end, last = (batch[name].dropna() for name in ("start", "end", "last_sown"))
    seed, litres = of_batch(batch["seed_t"]), of_batch(batch["litres"])
    return [
        batch["treatment"].iloc[0],
        batch["date"].iloc[0],
        start.min() if len(start) else pd.NaT,
        end.max() if len(end) else pd.NaT,
        last.max() if len(last) else pd.NaT,
        seed,
        litres,
        litres / seed if seed else math.nan,
        hours_from(start, end),
        hours_from(end, last),
    ]


def of_batch(column: pd.Series) -> float:
    """Return the one number of a batch that stands in some or all of its rows.

    Parameters
    ----------
    column
        A column of its rows.
    """
    known = pd.to_numeric(column).dropna()
    return float(known.max()) if len(known) else math.nan


def hours_from(start: pd.Series, end: pd.Series) -> float:
    """Return the hours from the first of some times to the last of others; NaN if not known.

    Parameters
    ----------
    start, end
        The times.
    """
    if start.empty or end.empty:
        return math.nan
    return float((end.max() - start.min()).total_seconds()) / 3600
