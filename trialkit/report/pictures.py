"""A picture with its words: drawn once, shown in a notebook, put in a page or saved."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import plotnine as p9
from mizani.labels import label_number

from trialkit.language import figures, say

if TYPE_CHECKING:
    from plotnine import ggplot

#: Ink and its tints; every picture is drawn in these and one colour-blind-safe scale.
INK, QUIET, LINE, PALE = "#1c2b33", "#5c6b73", "#c9d1d5", "#e9eef0"
#: Two treatments, or kept and left out: apart in hue and in lightness, so also in print.
BLUE, AMBER = "#1f5a7a", "#c8741a"
#: Ground where a gain more than covers its cost.
PAYS = "#dcead9"
#: Treatments, the control first: told apart by shape; colour only helps.
_SHAPES = ("o", "s", "^", "D", "v", "P", "X", "*")
_COLOURS = (BLUE, AMBER, INK, LINE)

_PNG_DPI = 200


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot, and what it shows in words.

    Parameters
    ----------
    plot
        What is drawn.
    alt
        What it shows, for who cannot see it.
    width_in, height_in
        Size, inches of 96 pixels.
    caption
        Words below it; empty for none.
    raster
        Whether it holds too many marks to be kept as lines.
    """

    plot: ggplot
    alt: str
    width_in: float
    height_in: float
    caption: str = ""
    raster: bool = False

    def drawn(self, kind: str) -> bytes:
        """Return the picture's bytes as `"svg"` or `"png"`; the same plot gives the same bytes."""
        from matplotlib import rc_context

        buffer = BytesIO()
        # Text as outlines: the page must look the same whatever fonts the reader has. And text
        # as it stands: a name with dollar signs is no formula.
        with rc_context(
            {"svg.fonttype": "path", "svg.hashsalt": "trialkit", "text.parse_math": False}
        ):
            self.plot.save(
                buffer,
                format=kind,
                width=self.width_in,
                height=self.height_in,
                dpi=_PNG_DPI,
                verbose=False,
                metadata={"Date": None} if kind == "svg" else {"Software": None},
            )
        return buffer.getvalue()

    def save(self, path: Path) -> Path:
        """Write the picture as SVG or PNG, by the ending of `path`."""
        path.write_bytes(self.drawn(path.suffix.lstrip(".")))
        return path

    def html(self) -> str:
        """Return the picture as a figure that needs no other file."""
        kind = "png" if self.raster else "svg"
        mime = "image/png" if self.raster else "image/svg+xml"
        data = b64encode(self.drawn(kind)).decode("ascii")
        size = f'width="{round(self.width_in * 96)}" height="{round(self.height_in * 96)}"'
        caption = f"<figcaption>{escape(self.caption)}</figcaption>" if self.caption else ""
        return (
            f'<figure class="tk-picture"><img src="data:{mime};base64,{data}" {size} '
            f'alt="{escape(self.alt)}">{caption}</figure>'
        )

    def __html__(self) -> str:
        return self.html()

    def _repr_html_(self) -> str:
        return self.html()


def later_colours(treatments: int) -> list[str]:
    """Return the colours of all treatments but the control."""
    return [_COLOURS[i % len(_COLOURS)] for i in range(treatments - 1)]


def treatment_marks(treatments: int) -> list[p9.scale_shape_manual | p9.scale_fill_manual]:
    """Return the marks of the treatments, the control's empty."""
    shapes = [_SHAPES[i % len(_SHAPES)] for i in range(treatments)]
    return [
        p9.scale_shape_manual(values=shapes),
        p9.scale_fill_manual(values=["white", *later_colours(treatments)]),
    ]


def tick_marks(breaks: Sequence[float]) -> list[str]:
    """Return the numbers beside an axis or a bar of shades, as the language writes them.

    Parameters
    ----------
    breaks
        Where they stand; they get as many decimals as it takes to tell them apart.
    """
    if len(breaks) == 1:  # to be told from nothing, so it would get no decimals
        return [figures(np.format_float_positional(breaks[0], precision=6, trim="-"))]
    return [figures(text) for text in label_number()(breaks)]


def level_words(levels: Sequence[object]) -> list[str]:
    """Return the words of an axis or a legend whose levels are codes, in the language spoken.

    Parameters
    ----------
    levels
        The codes, marked as words where they are written.
    """
    return [say(str(level)) for level in levels]


def house_theme() -> p9.theme:
    """Return the look that all pictures share."""
    return p9.theme_minimal(base_size=10) + p9.theme(
        text=p9.element_text(color=INK),
        axis_text=p9.element_text(color=QUIET, size=9),
        axis_title=p9.element_text(color=INK, size=9.5),
        panel_grid_minor=p9.element_blank(),
        panel_grid_major=p9.element_line(color=PALE, size=0.6),
        legend_title=p9.element_text(size=8.5),
        legend_text=p9.element_text(size=8.5),
        legend_position="top",
        plot_background=p9.element_rect(fill="white", color="white"),
    )
