"""A caliper followed through an open loop: its track, its curve, and what the curve says."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from annot.calibration import LoopScale, NoScale
from annot.errors import InputError
from annot.loops import Loop, LoopArray
from annot.measurement import Caliper, Known
from annot.measurement.curve_summary import CurveSummary, summarise
from annot.measurement.track import Track, track_points
from annot.measurement.tracked_curve import CurvePoint, measure_track
from annot.uncertainty import generator_for


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A caliper as placed on its own frame, its track, and the curve with its summary."""

    caliper: Caliper
    track: Track
    points: tuple[CurvePoint, ...]
    times_ms: tuple[float, ...]
    summary: CurveSummary


def followed(
    caliper: Caliper, loop: Loop, scale: LoopScale, *, known: Known, file: str
) -> Followed:
    """Follow a length through a loop.

    Raises
    ------
    AnnotError
        If the loop states no times, the scale holds on some of its frames only, or it cannot be
        followed far enough.
    """
    times = loop.header.frame_times.times_ms
    if times is None:
        raise InputError(f"{file} does not state when its frames were taken, so there is no curve.")
    track = track_points(LoopArray(loop), caliper.points, caliper.frame.frame)
    references = [loop.header.reference(n) for n in range(loop.frames)]
    placed = replace(caliper, frame=references[caliper.frame.frame])
    points = measure_track(
        placed, track, references, scale, modality=loop.header.modality, known=known
    )
    _refuse_some_frames(points, file)
    moments = tuple(times[point.frame] for point in points)
    rng = generator_for([point.measurement.result for point in points])
    summary = summarise(points, moments, r_waves_ms=loop.header.r_wave_times_ms, rng=rng)
    return Followed(caliper=placed, track=track, points=points, times_ms=moments, summary=summary)


def _refuse_some_frames(points: Sequence[CurvePoint], file: str) -> None:
    """Refuse a curve that would be in mm on some frames and in pixels on others."""
    measured = [point.measurement for point in points]
    if len({one.result.unit for one in measured}) < 2:
        return
    reason = next(one.scale.reason for one in measured if isinstance(one.scale, NoScale))
    raise InputError(
        f"{file}: the scale holds on some frames only, so there is no curve: {reason}."
    )
