"""Figures of a room's page: a control chart, and a phantom with what was found on it."""

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from annot.quality import ControlChart

INK, FAINT, SIGNAL, LIMIT = "#111111", "#777777", "#D55E00", "#0072B2"


def chart_figure(
    charts: Sequence[ControlChart],
    *,
    baseline: Sequence[float],
    days: Sequence[str],
    unit: str,
    title: str,
    format: str = "svg",  # noqa: A002 - matplotlib's own word
) -> bytes:
    """Return a control chart as SVG or PNG.

    Parameters
    ----------
    charts
        One, or the upper and lower sums.
    baseline
        Values that the limits were set from, drawn before the others and apart from them.
    days
        Of the charted points.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    # text stays text, and the same chart gives the same bytes
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": "annot"}):
        figure = Figure(figsize=(9.0, 3.4), facecolor="white", layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        _draw(axes, charts, baseline, days)
        axes.set_ylabel(unit)
        axes.set_title(title, loc="left", fontsize=10, color=INK)
        stream = io.BytesIO()
        clean = {"Date": None} if format == "svg" else {"Software": None}
        figure.savefig(stream, format=format, dpi=110, metadata=clean)
    return stream.getvalue()


def _draw(
    axes: Any, charts: Sequence[ControlChart], baseline: Sequence[float], days: Sequence[str]
) -> None:
    if len(baseline):
        before = np.arange(-len(baseline), 0)
        axes.plot(before, baseline, color=FAINT, marker="o", mfc="white", label="baseline")
    for index, chart in enumerate(charts):
        places = np.arange(len(days) - len(chart.points), len(days))
        style = "-" if index == 0 else "--"
        axes.plot(places, chart.points, color=INK, marker="o", linestyle=style, label=chart.kind)
        limits = [(chart.upper, "upper limit"), (chart.lower, "lower limit")]
        # sums start at nothing and have one limit
        for limit, words in limits[: 1 if chart.kind.endswith("sums") else 2]:
            axes.step(places, limit, color=LIMIT, where="mid", linewidth=1.2)
            if len(limit):
                axes.annotate(
                    words,
                    (places[-1], limit[-1]),
                    color=LIMIT,
                    fontsize=8,
                    xytext=(4, 0),
                    textcoords="offset points",
                    va="center",
                )
        axes.axhline(chart.centre, color=LIMIT, linewidth=0.8, linestyle=":")
        spoken = sorted({one.point for one in chart.signals})
        if spoken:
            axes.plot(
                places[spoken],
                np.array(chart.points)[spoken],
                linestyle="none",
                marker="D",
                markersize=9,
                color=SIGNAL,
                mfc="none",
                mew=2,
                label="signal",
            )
    _ticks(axes, days, room=len(days) / max(len(days) + len(baseline), 1))
    if len(baseline):
        axes.axvline(-0.5, color=FAINT, linewidth=0.8)
    axes.legend(loc="upper left", fontsize=8, frameon=False, ncols=4)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _ticks(axes: Any, days: Sequence[str], *, room: float) -> None:
    """Name few enough days, in their part of the axis, that their words do not meet."""
    most = max(1, int(8 * room))
    every = max(1, -(-len(days) // most))
    places = list(range(0, len(days), every))
    axes.set_xticks(places, [days[one] for one in places], fontsize=8)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.18 * (high - low))
