"""Small trial folders for tests: eight strips of an invented trial, at sea."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import settings

# Workers share the cores: with threads of its own in each, linear algebra takes thrice as long.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The same commit gives the same answer twice; `--hypothesis-profile=search` tries new examples.
settings.register_profile("repeat", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile("repeat")

#: Metres to degrees near 38.5° S: good enough to draw rectangles with.
METRE_LATITUDE = 1 / 111_000
METRE_LONGITUDE = 1 / 87_000

ORIGIN = (85.0, -38.5)

TRIAL_TOML = """\
[trial]
name = "Invented trial"
season = 2024
crop = "oats"
invented = true

[[treatments]]
name = "untreated"
control = true

[[treatments]]
name = "dressed"
cost_per_ha = 14.5

[machines]
seeder_m = 12
harvester_m = 12

[harvest]
standard_moisture_pct = 12.5

[money]
currency = "AUD"
price_per_t = 300
"""


def rectangle(x_m: float, y_m: float, width_m: float, length_m: float) -> list[list[list[float]]]:
    """Corners of a rectangle, metres east and north of the origin."""
    corners = [
        (x_m, y_m),
        (x_m + width_m, y_m),
        (x_m + width_m, y_m + length_m),
        (x_m, y_m + length_m),
    ]
    ring = [
        [ORIGIN[0] + x * METRE_LONGITUDE, ORIGIN[1] + y * METRE_LATITUDE]
        for x, y in [*corners, corners[0]]
    ]
    return [ring]


def strip_feature(number: int, treatment: str, block: str, **change: object) -> dict[str, object]:
    """A strip 24 m wide and 300 m long, beside the one before."""
    properties = {"strip": f"S{number}", "block": block, "treatment": treatment}
    return {
        "type": "Feature",
        "properties": properties | change,
        "geometry": {"type": "Polygon", "coordinates": rectangle(24 * number, 0, 24, 300)},
    }


def collection(features: list[dict[str, object]]) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features})


@pytest.fixture
def features() -> list[dict[str, object]]:
    """Eight strips in four blocks of two."""
    arms = ["untreated", "dressed", "dressed", "untreated"] * 2
    return [strip_feature(n, arm, f"B{n // 2 + 1}") for n, arm in enumerate(arms)]


@pytest.fixture
def trial_folder(tmp_path: Path, features: list[dict[str, object]]) -> Path:
    """A faultless trial folder before harvest."""
    folder = tmp_path / "trial"
    folder.mkdir()
    (folder / "trial.toml").write_text(TRIAL_TOML)
    (folder / "layout.geojson").write_text(collection(features))
    return folder


@pytest.fixture
def write_layout() -> Callable[[Path, list[dict[str, object]]], None]:
    """Write a layout into a folder."""

    def write(folder: Path, features: list[dict[str, object]]) -> None:
        (folder / "layout.geojson").write_text(collection(features))

    return write


@pytest.fixture
def draw() -> Callable[[float, float, float, float], dict[str, object]]:
    """Draw a rectangle as a GeoJSON geometry: east, north, width, length in metres."""

    def polygon(x_m: float, y_m: float, width_m: float, length_m: float) -> dict[str, object]:
        return {"type": "Polygon", "coordinates": rectangle(x_m, y_m, width_m, length_m)}

    return polygon


@pytest.fixture
def german(tmp_path: Path) -> Callable[..., Path]:
    """Write a language file: German marks, and the words given by their English."""

    def write(words: Mapping[str | tuple[str, str], str | tuple[str, str]] | None = None) -> Path:
        from babel.messages import Catalog
        from babel.messages.pofile import write_po

        catalog = Catalog("de")
        for english, translated in (words or {}).items():
            catalog.add(english, translated)
        path = tmp_path / "words.po"
        with path.open("wb") as file:
            write_po(file, catalog)
        return path

    return write


@pytest.fixture
def said_whole(german: Callable[..., Path]) -> Callable[..., list[str]]:
    """Check that nothing is said past a translation.

    What is told in English is told again in a language that puts each sentence of some modules in
    brackets and writes numbers as German does. Without brackets it must be the same, but for the
    marks of numbers; outside of them nothing may stand.
    """
    from babel.messages.extract import extract_from_file

    from trialkit.language import speaking, texts

    saying: dict[str, tuple[int, ...] | None] = {
        "say": None, "marked": None, "say_counted": (1, 2),
    }  # fmt: skip
    swapped = str.maketrans(",.", ".,")

    def check(tell: Callable[[], Iterable[str]], *modules: ModuleType) -> list[str]:
        found = [
            message
            for module in modules
            for _, message, _, _ in extract_from_file("python", str(module.__file__), saying)
        ]
        words = {
            message: f"⟦{message}⟧"
            if isinstance(message, str)
            else tuple(f"⟦{text}⟧" for text in texts(message))
            for message in found
        }
        english = list(tell())
        with speaking(german(words)):
            spoken = list(tell())
        for before, after in zip(english, spoken, strict=True):
            outside, count = after, 1
            while count:
                outside, count = re.subn("⟦[^⟦⟧]*⟧", "", outside)
            assert not re.search(r"\w", outside), after
            marked = re.sub(r"\d[\d,.]*\d", lambda number: number[0].translate(swapped), before)
            assert re.sub("[⟦⟧]", "", after).replace("\N{NO-BREAK SPACE}%", "%") == marked
        return spoken

    return check
