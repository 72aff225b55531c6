"""Plots of what stands in a read, each drawn to a pane's size."""

from collections.abc import Callable, Sequence
from typing import Literal

from annot.exports import TableEntry
from annot.exports.window_figures import (
    Paper,
    TimePoint,
    budget_png,
    ellipses_png,
    forest_height_px,
    over_time_png,
    side_by_side_png,
)
from annot.tasks.findings import Findings
from annot.uncertainty.budget import budget

__all__ = ["PLOTS", "Paper", "PlotKind", "plot_of"]

PlotKind = Literal["over time", "budget", "ellipse", "side by side"]
NOT_SELECTED = "Select a caliper: click its cell, its line or its row."
UNIT_SIGNS = {"mm2": "mm²", "px2": "px²", "deg": "°"}


def plot_of(
    kind: PlotKind, findings: Findings, *, selected: str | None, paper: Paper
) -> bytes | str:
    """Return a plot as PNG, or the sentence that says why there is nothing to draw.

    Parameters
    ----------
    kind : {"over time", "budget", "ellipse", "side by side"}
    findings : Findings
    selected : str or None
        Key of a caliper, on which all but the last depend.
    paper : Paper
    """
    return PLOTS[kind](findings, selected, paper)


def _over_time(findings: Findings, selected: str | None, paper: Paper) -> bytes | str:
    chosen = _entry(findings, selected)
    if chosen is None:
        return NOT_SELECTED
    times = chosen.header.frame_times.times_ms
    if times is None:
        return f"{chosen.loop.file} does not state when its frames were taken."
    outcome, unit = chosen.measurement.outcome, chosen.measurement.result.unit
    same = [
        one
        for one in findings.entries
        if one.loop.file == chosen.loop.file
        and one.measurement.outcome.name == outcome.name
        and one.measurement.result.unit == unit
    ]
    return over_time_png(
        [_time_point(one, times) for one in same],
        [one / 1000 for one in chosen.header.r_wave_times_ms],
        title=f"{outcome.title}, {chosen.loop.file}",
        unit=UNIT_SIGNS.get(unit, unit),
        paper=paper,
    )


def _time_point(entry: TableEntry, times_ms: Sequence[float]) -> TimePoint:
    measurement = entry.measurement
    frame = entry.header.frame_of(measurement.caliper.frame)
    return TimePoint(
        time_s=times_ms[frame] / 1000,
        value=measurement.estimate.value,
        low=measurement.interval.low,
        high=measurement.interval.high,
        drawn=measurement.caliper.origin != "tracked",
    )


def _budget(findings: Findings, selected: str | None, paper: Paper) -> bytes | str:
    chosen = _entry(findings, selected)
    if chosen is None:
        return NOT_SELECTED
    measurement = chosen.measurement
    unit = measurement.result.unit
    frame = chosen.header.frame_of(measurement.caliper.frame)
    return budget_png(
        budget(measurement.result),
        title=f"{measurement.outcome.title}, {chosen.loop.file}, frame {frame}",
        unit=UNIT_SIGNS.get(unit, unit),
        paper=paper,
    )


def _ellipse(findings: Findings, selected: str | None, paper: Paper) -> bytes | str:
    if not findings.compared:
        return "No width in mm yet, so no cross-section."
    chosen = _entry(findings, selected)
    quantity = chosen.measurement.outcome.name if chosen is not None else ""
    group = next(
        (one for one in findings.compared if one.quantity == quantity), findings.compared[0]
    )
    title = f"{group.quantity.replace('_', ' ')}: lines are echo chords, bars edges of shadows"
    return ellipses_png(group.sections, title=title, paper=paper)


def _side_by_side(findings: Findings, selected: str | None, paper: Paper) -> bytes | str:
    del selected
    if not findings.compared:
        return "No width in mm yet, so there is nothing to set side by side."
    groups = [one.sections for one in findings.compared]
    tall = Paper(
        width_px=paper.width_px,
        height_px=max(paper.height_px, forest_height_px(groups)),
        dark=paper.dark,
    )
    return side_by_side_png(groups, paper=tall)


def _entry(findings: Findings, selected: str | None) -> TableEntry | None:
    return next((one for one in findings.entries if one.measurement.caliper.key == selected), None)


PLOTS: dict[PlotKind, Callable[[Findings, str | None, Paper], bytes | str]] = {
    "over time": _over_time,
    "budget": _budget,
    "ellipse": _ellipse,
    "side by side": _side_by_side,
}
