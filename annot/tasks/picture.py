"""Draw what was fitted and measured on the frames it was read from."""

from collections.abc import Sequence
from pathlib import Path

from annot.exports import PNG, TableEntry, write_whole
from annot.exports.figures import COLOURS, FIRST, REFERENCE, Line, Panel, png_of
from annot.loops import Loop
from annot.measurement import Measurement
from annot.tasks.calibrate import ScaleAnswer
from annot.uncertainty import decimals_for, value_with_u
from annot.vocabulary import CAUTION


def measurement_words(measurement: Measurement) -> str:
    """Return a caliper's value and interval as they stand beside its line."""
    found, interval = measurement.estimate, measurement.interval
    places = value_with_u(found.value, found.u)
    title = measurement.caliper.measurand.title
    unit = {"mm2": "mm²", "px2": "px²", "deg": "°"}.get(
        measurement.result.unit, measurement.result.unit
    )
    if not measurement.scale:
        return f"{title} {places} {unit}, no scale"
    return f"{title} {places} {unit} (95 %: {interval.low:.1f} to {interval.high:.1f})"


def scale_lines(answer: ScaleAnswer) -> tuple[Line, ...]:
    """Return the fitted object's outline, its scale written beside it once."""
    if answer.made.seen is None:
        return ()
    row, interval = answer.scale.row, answer.scale.interval()
    places = decimals_for(row.u)
    words = (
        f"{value_with_u(row.value, row.u)} mm/px "
        f"(95 %: {interval.low:.{places}f} to {interval.high:.{places}f})"
    )
    return tuple(
        Line(points=path, label=words if index == 0 else "", colour=REFERENCE, ends=False)
        for index, path in enumerate(answer.made.seen.outline)
    )


def scale_picture(loop: Loop, answer: ScaleAnswer, frame: int, path: Path) -> None:
    """Write a picture of the frame with the fitted reference object, whole or not at all."""
    panel = Panel(
        frame=loop.frame(frame),
        title=f"{loop.header.path.name}, frame {frame}",
        lines=scale_lines(answer),
    )
    write_whole(path, png_of([panel], caption=CAUTION), replaces=PNG)


def frame_panel(
    loop: Loop, entries: Sequence[TableEntry], frame: int, *, extra: tuple[Line, ...] = ()
) -> Panel:
    """Return one frame with every caliper that stands on it."""
    lines = tuple(
        Line(
            points=entry.measurement.caliper.points,
            label=measurement_words(entry.measurement),
            colour=COLOURS.get(entry.measurement.caliper.measurand.name, FIRST),
        )
        for entry in entries
        if entry.header.frame_of(entry.measurement.caliper.frame) == frame
    )
    return Panel(
        frame=loop.frame(frame),
        title=f"{loop.header.path.name}, frame {frame} (DICOM frame {frame + 1})",
        lines=(*extra, *lines),
    )


def write_picture(panels: Sequence[Panel], path: Path) -> None:
    """Write frames side by side as PNG, whole or not at all."""
    write_whole(path, png_of(panels, caption=CAUTION), replaces=PNG)
