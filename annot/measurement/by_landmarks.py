"""What follows from landmarks by rule: calipers that nobody draws."""

import itertools
from collections.abc import Iterator

from annot.errors import InputError
from annot.geometry import PixelPoint, length_px
from annot.measurement.caliper import SHORTEST_PX, Caliper
from annot.measurement.placed_landmark import LandmarkSet
from annot.vocabulary import FrameReference
from annot.vocabulary.landmarks import DERIVED


def derived_calipers(marks: LandmarkSet, *, loop: str, sop_instance_uid: str) -> list[Caliper]:
    """Return the calipers of every quantity for which the landmarks suffice.

    Parameters
    ----------
    marks : LandmarkSet
    loop : str
        Name of the loop, by which the calipers' keys stay unique in a read.
    sop_instance_uid : str

    Raises
    ------
    InputError
        If two landmarks of a quantity lie less than a pixel apart.
    """
    found = []
    for name, points in _rules(marks):
        short = any(length_px(pair) < SHORTEST_PX for pair in itertools.pairwise(points))
        if short:
            raise InputError(
                f"{loop}, frame {marks.frame}: two landmarks of {name} coincide; place them again."
            )
        found.append(
            Caliper(
                key=f"{loop}:{marks.frame}:{name}",
                measurand=DERIVED[name],
                frame=FrameReference(sop_instance_uid=sop_instance_uid, frame=marks.frame),
                points=points,
                u_end_px=marks.stated_u_px,
                origin="derived",
            )
        )
    return found


def _rules(marks: LandmarkSet) -> Iterator[tuple[str, tuple[PixelPoint, ...]]]:
    axis, end, centre = marks.points("neck_axis"), marks.points("appendage_end"), marks.centre
    if marks.ostium:
        yield "ostium_by_landmarks", marks.ostium
    if centre is not None and end:
        yield "depth_straight", (centre, *end)
    if centre is not None and axis and end:
        yield "depth_bent", (centre, axis[1], *end)
    if axis and end:
        yield "neck_angle_by_landmarks", (*axis, *end)
