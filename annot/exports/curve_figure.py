"""A tracked curve as a picture: values, band, smoothed line, beats; no screen needed."""

import io
from collections.abc import Sequence
from typing import Any

from annot.exports.figures import FIRST, SECOND, THIRD, wrapped
from annot.measurement.curve_summary import CurveSummary, Extreme
from annot.measurement.tracked_curve import CurvePoint
from annot.uncertainty import estimate, value_with_u
from annot.vocabulary import CAUTION

GREY = "#BBBBBB"


def curve_png(
    points: Sequence[CurvePoint],
    times_ms: Sequence[float],
    summary: CurveSummary,
    *,
    title: str,
) -> bytes:
    """Return a PNG of a curve with its 95 % band, its largest and smallest marked."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.2), facecolor="black", layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(1, 1, 1)
    axes.set_facecolor("black")
    seconds = [time / 1000.0 for time in times_ms]
    values = [point.measurement.estimate.value for point in points]
    bands = [point.measurement.interval for point in points]
    axes.fill_between(
        seconds,
        [band.low for band in bands],
        [band.high for band in bands],
        color=SECOND,
        alpha=0.22,
        linewidth=0,
        label="95 % of each frame: scale and hand move all together",
    )
    axes.plot(seconds, values, "o", color=SECOND, markersize=3.5, label="tracked, each frame")
    axes.plot(seconds, summary.smoothed, color="white", linewidth=1.6, label="smoothed")
    for extreme, colour, word in (
        (summary.largest, FIRST, "largest"),
        (summary.smallest, THIRD, "smallest"),
    ):
        _mark(axes, extreme, colour, word)
    _dress(axes, points[0], title)
    figure.legend(
        facecolor="black",
        edgecolor="#555555",
        labelcolor=GREY,
        fontsize=8.5,
        ncols=3,
        loc="outside upper center",
    )
    words = f"Tracked by a program, not confirmed by a person. {CAUTION}"
    figure.supxlabel(wrapped(words, 130), color=GREY, fontsize=8)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, facecolor="black", metadata={"Software": None})
    return stream.getvalue()


def _dress(axes: Any, first: CurvePoint, title: str) -> None:
    axes.set_xlabel("s from the first frame", color=GREY)
    measurement = first.measurement
    axes.set_ylabel(f"{measurement.outcome.title}, {measurement.result.unit}", color=GREY)
    axes.set_title(title, color="white", loc="left", fontsize=11)
    axes.tick_params(colors=GREY)
    for spine in axes.spines.values():
        spine.set_color("#555555")


def _mark(axes: Any, extreme: Extreme, colour: str, word: str) -> None:
    found, unit = estimate(extreme.result), extreme.result.unit
    label = f"{word} {value_with_u(found.value, found.u)} {unit}, frame {extreme.frame}"
    axes.errorbar(
        [extreme.time_ms / 1000.0],
        [found.value],
        yerr=[[found.value - found.interval.low], [found.interval.high - found.value]],
        fmt="D",
        color=colour,
        markersize=6,
        capsize=4,
        label=label,
    )
