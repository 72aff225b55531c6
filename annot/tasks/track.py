"""Follow one caliper through its loop and say how its number changes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annot.calibration import BorrowedRequest, HeaderRequest
from annot.errors import InputError
from annot.exports import CURVE, PNG, Cell, TableEntry, write_whole
from annot.exports.curve_figure import curve_png
from annot.exports.curve_file import curve_csv, curve_rows
from annot.geometry import PixelPoint
from annot.loops import Loop, LoopArray
from annot.measurement import Caliper
from annot.measurement.curve_summary import CurveSummary
from annot.measurement.track import Track, track_points
from annot.measurement.tracked_curve import CurvePoint
from annot.reads import LoopRead, Read
from annot.tasks.followed import followed
from annot.tasks.measure import opened_with_scales, study_name
from annot.tasks.read import ruled
from annot.tasks.surroundings import Beams, known_of
from annot.vocabulary import MEASURANDS, FrameReference

__all__ = [
    "TrackedCaliper",
    "curve_rows_of",
    "follow_caliper",
    "read_of_one",
    "track_caliper",
    "write_curve",
    "write_curve_picture",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackedCaliper:
    """A caliper, its track, and the curve with its summary.

    `entries` are the frames as a measurement table would take them.
    """

    file: str
    caliper: Caliper
    entries: tuple[TableEntry, ...]
    track: Track
    points: tuple[CurvePoint, ...]
    times_ms: tuple[float, ...]
    summary: CurveSummary
    warnings: tuple[str, ...]


def read_of_one(loop: Path, quantity: str, frame: int, points: tuple[PixelPoint, ...]) -> Read:
    """Return a read of one caliper on one loop under the scale of its header."""
    measurand = MEASURANDS.get(quantity)
    if measurand is None:
        raise InputError(f"There is no quantity '{quantity}'; known are {', '.join(MEASURANDS)}.")
    caliper = Caliper(
        key=f"{quantity}-1",
        measurand=measurand,
        frame=FrameReference(sop_instance_uid="", frame=frame),
        points=points,
    )
    part = LoopRead(file=str(loop), scale=HeaderRequest(), calipers=(caliper,))
    return Read(reader="-", study="-", loops=(part,))


def track_caliper(
    read: Read, folder: Path, key: str, *, progress: Callable[[str], None] = lambda _: None
) -> TrackedCaliper:
    """Follow one caliper of a read through its loop.

    Raises
    ------
    AnnotError
        If there is no such caliper, it is no length, its loop states no times, or it cannot be
        followed far enough.
    """
    part, caliper = _found(read, key)
    needed = replace(read, loops=_needed(read, part, caliper))
    loops, scales = opened_with_scales(needed, folder, progress)
    progress(f"following {key}")
    loop, scale = loops[part.file], scales[part.file]
    known = known_of(needed, loops, scales, Beams())[key][caliper.measurand.name]
    found = followed(caliper, loop, scale, known=known, file=part.file)
    own = next(point for point in found.points if point.frame == found.track.start)
    return TrackedCaliper(
        file=part.file,
        caliper=found.caliper,
        entries=_entries(read, part, loop, found.points),
        track=found.track,
        points=found.points,
        times_ms=found.times_ms,
        summary=found.summary,
        warnings=(*own.measurement.warnings, *found.track.lost, *found.summary.warnings),
    )


def _entries(
    read: Read, part: LoopRead, loop: Loop, points: tuple[CurvePoint, ...]
) -> tuple[TableEntry, ...]:
    named, study = ruled(read), study_name(read, loop.header)
    return tuple(
        TableEntry(
            measurement=point.measurement,
            header=loop.header,
            read=named,
            loop=part,
            study=study,
        )
        for point in points
    )


def follow_caliper(
    loop: Loop, caliper: Caliper, *, on_frame: Callable[[int], None] = lambda _: None
) -> Track:
    """Follow a length through an open loop, both ways from its own frame.

    Parameters
    ----------
    on_frame : callable
        Called with each frame's number before it is looked at; what it raises ends the work.

    Raises
    ------
    AnnotError
        If it is no length, or a frame cannot be decoded.
    """
    if caliper.measurand.kind != "length":
        raise InputError(_only_lengths(caliper))
    frames = _Watched(LoopArray(loop), on_frame)
    return track_points(frames, caliper.points, caliper.frame.frame)


class _Watched:
    """Frames that tell which one is asked for."""

    def __init__(self, frames: LoopArray, on_frame: Callable[[int], None]) -> None:
        self._frames, self._on_frame = frames, on_frame

    def __len__(self) -> int:
        return len(self._frames)

    def __getitem__(self, index: int, /) -> NDArray[np.generic]:
        self._on_frame(index)
        return np.asarray(self._frames[index])


def _only_lengths(caliper: Caliper) -> str:
    return (
        f"Caliper {caliper.key} is a {caliper.measurand.title.lower()}; only lengths are followed "
        "through a loop."
    )


def curve_rows_of(tracked: TrackedCaliper) -> list[dict[str, Cell]]:
    """Return the curve's rows, one a frame."""
    return curve_rows(tracked.points, tracked.entries, tracked.summary.smoothed)


def write_curve(tracked: TrackedCaliper, path: Path) -> None:
    """Write the curve as CSV, whole or not at all."""
    write_whole(path, curve_csv(curve_rows_of(tracked)), replaces=CURVE)


def write_curve_picture(tracked: TrackedCaliper, path: Path) -> None:
    """Write a picture of the curve, whole or not at all."""
    title = f"{Path(tracked.file).name}, {tracked.caliper.measurand.title.lower()}"
    png = curve_png(tracked.points, tracked.times_ms, tracked.summary, title=title)
    write_whole(path, png, replaces=PNG)


def _found(read: Read, key: str) -> tuple[LoopRead, Caliper]:
    for part in read.loops:
        for caliper in part.calipers:
            if caliper.key == key:
                if caliper.measurand.kind != "length":
                    raise InputError(_only_lengths(caliper))
                return part, caliper
    ids = ", ".join(one.key for part in read.loops for one in part.calipers) or "none"
    raise InputError(f"The read holds no caliper {key}; its calipers are {ids}.")


def _needed(read: Read, part: LoopRead, caliper: Caliper) -> tuple[LoopRead, ...]:
    """Return the caliper's loop, those whose repeats say how it scatters, and their lenders."""
    wanted = [part, *(one for one in read.loops if _repeats(one, caliper))]
    names = {one.file for one in wanted}
    names |= {one.scale.file for one in wanted if isinstance(one.scale, BorrowedRequest)}
    return tuple(one for one in read.loops if one.file in names)


def _repeats(part: LoopRead, caliper: Caliper) -> bool:
    """Tell whether a loop holds more than one reading of what the caliper measures."""
    return len({one.repeat for one in part.calipers if one.measurand == caliper.measurand}) > 1
