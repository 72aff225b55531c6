"""Pictures of frames with what was fitted and drawn on them; no screen needed."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint

# Okabe–Ito colours, told apart by colour-blind eyes; each line also carries its words.
REFERENCE, FIRST, SECOND, THIRD = "#CC79A7", "#E69F00", "#56B4E9", "#009E73"
COLOURS = {"ostium_width": FIRST, "landing_zone_width": SECOND, "depth": THIRD}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A path on a frame with its words and colour; `ends` marks its points."""

    points: tuple[PixelPoint, ...]
    label: str
    colour: str
    ends: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One frame of a picture."""

    frame: NDArray[np.generic]
    title: str
    lines: tuple[Line, ...]


def png_of(panels: Sequence[Panel], *, caption: str) -> bytes:
    """Return a PNG of frames side by side, grey values stretched to the 0.5–99.5 % range.

    Parameters
    ----------
    panels : sequence of Panel, at least one
    caption : str
        Stands below: the caution and whatever a reader must know.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.2 * len(panels), 6.7), facecolor="black", layout="constrained")
    FigureCanvasAgg(figure)
    for index, panel in enumerate(panels):
        axes = figure.add_subplot(1, len(panels), index + 1)
        _draw(axes, panel)
    figure.supxlabel(wrapped(caption, 95 * len(panels)), color="#BBBBBB", fontsize=8.5)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, facecolor="black", metadata={"Software": None})
    return stream.getvalue()


def _draw(axes: Any, panel: Panel) -> None:
    frame = np.asarray(panel.frame)
    low, high = np.percentile(frame, [0.5, 99.5])
    axes.imshow(frame, cmap="gray", vmin=low, vmax=max(high, low + 1), interpolation="nearest")
    axes.set_title(panel.title, color="white", fontsize=10, loc="left")
    axes.set_axis_off()
    for line in panel.lines:
        rows = [point.row for point in line.points]
        columns = [point.column for point in line.points]
        axes.plot(columns, rows, color="black", linewidth=2.8, alpha=0.6)
        marker = "o" if line.ends else None
        axes.plot(columns, rows, color=line.colour, linewidth=1.4, marker=marker, markersize=3.5)
    _labels(axes, [line for line in panel.lines if line.label])
    axes.set_xlim(-0.5, frame.shape[1] - 0.5)
    axes.set_ylim(frame.shape[0] - 0.5, -0.5)


def _labels(axes: Any, lines: Sequence[Line]) -> None:
    """Stack the words at the upper left, each in its line's colour behind a dash of it.

    Beside the lines they would cover one another or run out of the picture.
    """
    for index, line in enumerate(lines):
        axes.annotate(
            f"━ {line.label}",
            (0.02, 0.98),
            va="top",
            xycoords="axes fraction",
            xytext=(0, -19 * index),
            textcoords="offset points",
            color=line.colour,
            fontsize=10.5,
            bbox={"facecolor": "black", "alpha": 0.75, "edgecolor": "none", "pad": 2.5},
        )


def wrapped(text: str, width: int) -> str:
    """Return a text broken into lines."""
    import textwrap

    return "\n".join(textwrap.wrap(text, width))
