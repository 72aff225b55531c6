"""Pictures of a study: how often intervals held the truth, and how errors fell."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Okabe–Ito colours, told apart by colour-blind eyes
INK, POINT, BAND, ASKED = "#222222", "#0072B2", "#56B4E9", "#E69F00"
INCH_PER_ROW = 0.24
TICKS = tuple(step * 10.0**power for power in range(-3, 3) for step in (1, 2, 5))
CUT_AT = 4.0  # standard uncertainties beyond which a pull is drawn at the edge


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveragePoint:
    """A cell's share of intervals that hold the truth, with its exact 95 % limits."""

    label: str
    count: int
    coverage: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorGroup:
    """A group's relative errors with the standard uncertainties stated for them, shapes (n,)."""

    label: str
    error_rel: NDArray[np.float64]
    u_rel: NDArray[np.float64]


def coverage_png(
    points: Sequence[CoveragePoint], *, title: str, asked: tuple[float, float], caption: str
) -> bytes:
    """Return a PNG of coverages, a row per cell, over the band that is asked for.

    Parameters
    ----------
    points : sequence of CoveragePoint, at least one
    title, caption : str
    asked : (float, float)
        Least and largest overall coverage asked for.
    """
    figure, [axes] = _figure((9.0, 1.9 + INCH_PER_ROW * len(points)), columns=1)
    places = np.arange(len(points))[::-1]
    axes.axvspan(100 * asked[0], 100 * asked[1], color=ASKED, alpha=0.25, lw=0)
    axes.axvline(95.0, color=ASKED, lw=1.2)
    for place, one in zip(places, points, strict=True):
        axes.plot([100 * one.low, 100 * one.high], [place, place], color=BAND, lw=3.0)
        axes.plot(100 * one.coverage, place, "o", color=POINT, ms=4.0)
    axes.set_yticks(places, [f"{one.label}  (n = {one.count})" for one in points], fontsize=8)
    axes.set_ylim(-0.8, len(points) - 0.2)
    axes.set_xlim(min(85.0, 100 * min(one.low for one in points) - 1.0), 100.5)
    axes.set_xlabel("intervals that hold the truth, %; bars: exact 95 % limits; shaded: asked for")
    axes.set_title(title, fontsize=11, loc="left")
    axes.grid(axis="x", color="#DDDDDD", lw=0.6)
    return _png(figure, caption)


def errors_png(groups: Sequence[ErrorGroup], *, title: str, caption: str) -> bytes:
    """Return a PNG with errors against stated uncertainty, and errors over it, group by group.

    An honest uncertainty fills the second picture as the standard normal curve does.
    """
    figure, [left, right] = _figure((12.0, 5.2), columns=2)
    colours = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#D55E00", "#56B4E9")
    edges = np.linspace(-CUT_AT, CUT_AT, 33)
    for index, one in enumerate(groups):
        colour = colours[index % len(colours)]
        words = f"{one.label} (n = {len(one.error_rel)})"
        left.plot(
            100 * one.u_rel, 100 * one.error_rel, ".", color=colour, ms=3.0, alpha=0.5, label=words
        )
        pull = np.clip(one.error_rel / one.u_rel, -CUT_AT, CUT_AT)
        right.hist(pull, edges, density=True, histtype="step", color=colour, lw=1.4, label=words)
    _dress_errors(left, groups)
    line = np.linspace(-CUT_AT, CUT_AT, 200)
    right.plot(line, np.exp(-(line**2) / 2) / np.sqrt(2 * np.pi), color=INK, lw=1.0, ls="--")
    right.set_xlabel("error over stated u; dashed: standard normal; ends collect what lies beyond")
    right.set_ylim(0, 1.35 * right.get_ylim()[1])
    right.legend(fontsize=7.5, loc="upper left", ncols=2)
    left.set_title(title, fontsize=11, loc="left")
    return _png(figure, caption)


def _dress_errors(axes: Any, groups: Sequence[ErrorGroup]) -> None:
    u_all = 100 * np.concatenate([one.u_rel for one in groups])
    low, high = np.quantile(u_all, [0.002, 0.98])
    span = np.geomspace(max(low, 1e-3), max(high, low * 1.5, 2e-3), 50)
    for sign in (-1.96, 1.96):
        axes.plot(span, sign * span, color=INK, lw=0.9, ls="--")
    axes.set_xscale("log")
    axes.set_xlim(span[0], span[-1])
    if span[-1] > 10 * span[0]:  # errors of a thousandth and of a third in one picture
        axes.set_yscale("symlog", linthresh=2 * span[0])
    axes.set_ylim(-3 * span[-1], 3 * span[-1])
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter("{x:g}")
        axis.set_minor_formatter("")
    axes.set_xticks([tick for tick in TICKS if span[0] <= tick <= span[-1]])
    axes.set_xlabel("stated standard uncertainty, % (dashed: ± 1.96 of it)")
    axes.set_ylabel("error, %")
    axes.grid(color="#EEEEEE", lw=0.6)


def _figure(size: tuple[float, float], *, columns: int) -> tuple[Any, list[Any]]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=size, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    return figure, [figure.add_subplot(1, columns, index + 1) for index in range(columns)]


def _png(figure: Any, caption: str) -> bytes:
    import textwrap

    width = int(13 * figure.get_size_inches()[0])
    figure.supxlabel("\n".join(textwrap.wrap(caption, width)), color="#666666", fontsize=7.5)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()
