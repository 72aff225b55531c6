"""A caliper followed through an open loop: its track, its curve, and what the curve says."""

from dataclasses import dataclass, replace

from annot.calibration import LoopScale
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
        If the loop states no times, or it cannot be followed far enough.
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
    moments = tuple(times[point.frame] for point in points)
    rng = generator_for([point.measurement.result for point in points])
    summary = summarise(points, moments, r_waves_ms=loop.header.r_wave_times_ms, rng=rng)
    return Followed(caliper=placed, track=track, points=points, times_ms=moments, summary=summary)
