"""A tracked caliper's number over time, each frame with its uncertainty.

What the person's hand, the scale, the tilt and the beam add is one error for all frames; what
following the ends adds is each frame's own. So a change over the cycle is known better than any
one width.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from annot.calibration import LoopScale
from annot.measurement.caliper import Caliper
from annot.measurement.measure import Known, Measurement, measure_moved
from annot.measurement.placement import TRACKED_ECHO_PX, TRACKED_XRAY_PX
from annot.measurement.track import Track, TrackedFrame
from annot.uncertainty import InputQuantity, stated
from annot.vocabulary import FrameReference


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """One frame of a curve.

    Attributes
    ----------
    frame : int
        Of the loop, from 0.
    measurement : Measurement
        Of origin "tracked" and not confirmed, but on the frame a person drew.
    """

    frame: int
    measurement: Measurement
    tracked: TrackedFrame


def measure_track(
    caliper: Caliper,
    track: Track,
    references: Sequence[FrameReference],
    scale: LoopScale,
    *,
    modality: str,
    known: Known | None = None,
) -> tuple[CurvePoint, ...]:
    """Measure a tracked caliper on every frame of its track.

    Parameters
    ----------
    caliper : Caliper
        As drawn on frame `track.start`.
    references : sequence of FrameReference
        The loop's frames by number.
    scale : LoopScale
        The loop's scale; it is asked anew on each frame and where the ends have moved to.
    """
    allowance = TRACKED_ECHO_PX if modality == "US" else TRACKED_XRAY_PX
    found = []
    for one in track.frames:
        own = one.frame == track.start
        moved = replace(
            caliper,
            points=one.points,
            frame=references[one.frame],
            origin=caliper.origin if own else "tracked",
            confirmed=caliper.confirmed and own,
        )
        u_px = math.hypot(allowance.value, one.return_px / 2.0)
        shifts = (
            () if own else tuple(_shift(caliper, one, k, u_px) for k in range(2 * len(one.points)))
        )
        measured = measure_moved(
            caliper,
            moved,
            scale.at(one.points, frame=one.frame),
            shifts,
            modality=modality,
            known=known or Known(),
        )
        found.append(CurvePoint(frame=one.frame, measurement=measured, tracked=one))
    return tuple(found)


def _shift(caliper: Caliper, one: TrackedFrame, coordinate: int, u_px: float) -> InputQuantity:
    """Return how far a coordinate has moved since the start, with what following it adds."""
    index, axis = divmod(coordinate, 2)
    name = ("row", "column")[axis]
    return stated(
        one.points[index][axis] - caliper.points[index][axis],
        u_px,
        key=f"{caliper.key}@{one.frame}:{index}:{name}:tracked",
        unit="px",
        component="ends",
        source="following the end from the frame it was drawn on",
    )
