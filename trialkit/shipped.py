"""Where the notebooks and the demo data lie: inside the wheel, or at the top of the sources."""

from __future__ import annotations

from pathlib import Path


def shipped(name: str) -> Path:
    """Return the path of `notebooks` or `data-demo` as shipped with this trialkit."""
    package = Path(__file__).resolve().parent
    inside = package / "_shipped" / name
    return inside if inside.exists() else package.parent / name
