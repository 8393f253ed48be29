"""How many strips and records an answer rests on, as `results/result.json` holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import DataFrame


def strip_counts(strips: DataFrame) -> dict[str, object]:
    """Return how many strips have a yield, in all and by treatment.

    Parameters
    ----------
    strips
        One row a strip: `strip treatment yield_t_ha`.
    """
    used = strips.dropna(subset="yield_t_ha")
    counts = used["treatment"].astype(str).value_counts(sort=False)
    return {"n": len(used), "by_treatment": {name: int(n) for name, n in counts.items()}}


def record_counts(log: DataFrame | None, screening: DataFrame | None) -> dict[str, object]:
    """Return how many records were read and kept, and how many were left out by reason.

    Parameters
    ----------
    log
        Every record, with `kept`; None where only scales were used.
    screening
        Records left out by reason; None likewise.
    """
    if log is None or screening is None:
        return {"read": 0, "kept": 0, "reasons": {}}
    left_out = zip(screening["reason"], screening["records"], strict=True)
    reasons = {str(reason): int(records) for reason, records in left_out}
    return {"read": len(log), "kept": int(log["kept"].sum()), "reasons": reasons}
