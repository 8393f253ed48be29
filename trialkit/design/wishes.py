"""What a grower wishes of a layout, checked one by one before anything is laid out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Integral, Real

from trialkit.design.tramlines import Tramlines, is_multiple, place_cut
from trialkit.errors import LayoutError

#: Left along both sides of a strip so that no cut takes the neighbour's grain: what steering and
#: spilt seed need. Common practice, no source.
EDGE_M = 0.5

#: Strips of 300 ft have worked (Washington State University, PNW STEEP on-farm testing, 1994).
LEAST_LENGTH_M = 91.0

#: More passes than this a strip never needs.
_MOST_PASSES = 24


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the strips must fit.

    Parameters
    ----------
    seeder_m, harvester_m
        Working widths, m.
    heading_deg
        Direction of the passes, degrees clockwise from north; None for that of the field's
        longest side.
    headland_m
        Width of the ground left along the outline to turn on, m; None for two widths of the
        seeder or one of the harvester, whichever is more (common practice, no source).
    clear_m
        Distance kept from holes and exclusion zones, m; None for one width of the seeder.
    passes_per_strip
        Seeder passes in a strip; None for the fewest that hold a full cut.
    edge_m
        Margin between the edge of a strip and the cut, m.
    traffic_m
        Controlled traffic: strips are a multiple of this width and start on one, m; None for
        none.
    tramlines
        The sprayer's; None for none.
    least_length_m
        Shortest strip worth having, m.
    anchor
        Longitude and latitude of a point on the edge of a pass, where guidance lines exist
        already; None to start at the headland.
    gradient_deg
        Direction in which the ground is known to change, degrees clockwise from north.
    """

    seeder_m: float
    harvester_m: float
    heading_deg: float | None = None
    headland_m: float | None = None
    clear_m: float | None = None
    passes_per_strip: int | None = None
    edge_m: float = EDGE_M
    traffic_m: float | None = None
    tramlines: Tramlines | None = None
    least_length_m: float = LEAST_LENGTH_M
    anchor: tuple[float, float] | None = None
    gradient_deg: float | None = None

    def __post_init__(self) -> None:
        _check_width(self.seeder_m, "seeder", 100)
        _check_width(self.harvester_m, "harvester", 60)
        if self.traffic_m is not None:
            _check_width(self.traffic_m, "controlled-traffic spacing", 100)
        for value, words in ((self.headland_m, "headland"), (self.clear_m, "clearance"),
                             (self.edge_m, "edge margin")):  # fmt: skip
            usable = value is None or (_is_number(value) and 0 <= value <= 500)
            if not usable:
                raise LayoutError(f"The {words} is {value!r} m. Give 0 to 500, in metres.")
        if not (_is_number(self.least_length_m) and 0 < self.least_length_m < math.inf):
            raise LayoutError(
                f"The least strip length is {self.least_length_m} m. Give a length above zero."
            )
        _check_direction(self.heading_deg, "heading")
        _check_direction(self.gradient_deg, "direction of the gradient")
        _check_anchor(self.anchor)
        if self.passes_per_strip is not None:
            _check_passes(self.passes_per_strip)

    @property
    def headland(self) -> float:
        """Width of the headland, m."""
        usual = max(2 * self.seeder_m, self.harvester_m)
        return usual if self.headland_m is None else self.headland_m

    @property
    def clear(self) -> float:
        """Distance kept from obstacles, m."""
        return self.seeder_m if self.clear_m is None else self.clear_m

    def passes(self) -> list[int]:
        """Return the numbers of passes a strip may have, the best first.

        Raises
        ------
        LayoutError
            If the widths cannot be made to fit; the message says what would.
        """
        fitting = [n for n in range(1, _MOST_PASSES + 1) if self._fits(n)]
        if not fitting:
            raise LayoutError(
                f"No strip of up to {_MOST_PASSES} passes of {self.seeder_m:g} m holds a full cut "
                f"of {self.harvester_m:g} m with {self.edge_m:g} m on each side"
                + self._traffic_words()
                + ". Check the widths."
            )
        if self.passes_per_strip is None:
            # Tramlines may ask for a wider strip than the cut does.
            return fitting[:3] if self.tramlines else fitting[:1]
        if self.passes_per_strip in fitting:
            return [int(self.passes_per_strip)]
        wide = self.passes_per_strip * self.seeder_m
        need = self.harvester_m + 2 * self.edge_m
        raise LayoutError(
            f"A strip of {_count(self.passes_per_strip, 'pass')} is {wide:g} m wide. It must hold "
            f"a full cut of {self.harvester_m:g} m and {self.edge_m:g} m on each side, {need:g} m"
            + self._traffic_words()
            + f". {_count(fitting[0], 'pass')} would fit: {fitting[0] * self.seeder_m:g} m."
        )

    def _fits(self, passes: int) -> bool:
        wide = passes * self.seeder_m
        on_track = self.traffic_m is None or is_multiple(wide, self.traffic_m)
        return on_track and place_cut(wide, self.harvester_m, self.edge_m) is not None

    def _traffic_words(self) -> str:
        return "" if self.traffic_m is None else f", and be a multiple of {self.traffic_m:g} m"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}es"


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _check_width(width: float, machine: str, most: float) -> None:
    if not (_is_number(width) and math.isfinite(width) and 0 < width <= most):
        raise LayoutError(
            f"The width of the {machine} is {width!r} m. Give its working width in metres, above "
            f"0 and up to {most:g}."
        )


def _check_passes(passes: object) -> None:
    whole = isinstance(passes, Integral) and not isinstance(passes, bool)
    if not whole or not 1 <= passes <= _MOST_PASSES:  # type: ignore[operator]
        raise LayoutError(
            f"A strip of {passes!r} passes cannot be sown. Give a whole number from 1 to "
            f"{_MOST_PASSES}."
        )


def _check_direction(degrees: float | None, words: str) -> None:
    if degrees is None:
        return
    if not (_is_number(degrees) and math.isfinite(degrees) and -180 <= degrees <= 360):
        raise LayoutError(
            f"The {words} is {degrees!r}. Give degrees clockwise from north, 0 to 360: 0 is north, "
            "90 is east."
        )


def _check_anchor(anchor: tuple[float, float] | None) -> None:
    if anchor is None:
        return
    try:
        longitude, latitude = (float(value) for value in anchor)
    except (TypeError, ValueError):
        longitude = latitude = math.nan
    if not (-180 <= longitude <= 180 and -90 <= latitude <= 90):
        raise LayoutError(
            f"The anchor is {anchor!r}. Give the longitude and then the latitude, in degrees, of a "
            "point on the edge of a pass."
        )
