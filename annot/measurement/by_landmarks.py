"""What follows from landmarks by rule: calipers that nobody draws."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

from annot.errors import InputError
from annot.geometry import length_px
from annot.measurement.caliper import SHORTEST_PX, Caliper, Mark
from annot.measurement.placed_landmark import BY_AXIS, HALF_WAY, LandmarkSet, middle_of_marks
from annot.vocabulary import FrameReference
from annot.vocabulary.landmarks import DERIVED


@dataclass(frozen=True, slots=True, kw_only=True)
class Follows:
    """A caliper that follows from landmarks, and what was taken where nothing was placed."""

    caliper: Caliper
    notes: tuple[str, ...]


def derived_calipers(marks: LandmarkSet, *, loop: str, sop_instance_uid: str) -> list[Follows]:
    """Return the calipers of every quantity for which the landmarks suffice.

    Calipers that rest on one landmark share the error of placing it; a middle of the ostium that
    is taken half way shares those of both its ends.

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
    for name, corners in _rules(replace(marks, loop=loop)):
        points = tuple(middle_of_marks(one) for one in corners)
        if any(length_px(pair) < SHORTEST_PX for pair in itertools.pairwise(points)):
            raise InputError(
                f"{loop}, frame {marks.frame}: two landmarks of {name} coincide; place them again."
            )
        caliper = Caliper(
            key=f"{loop}:{marks.frame}:{name}",
            measurand=DERIVED[name],
            frame=FrameReference(sop_instance_uid=sop_instance_uid, frame=marks.frame),
            points=points,
            origin="derived",
            marks=corners,
        )
        found.append(Follows(caliper=caliper, notes=tuple(_notes(caliper, marks))))
    return found


def _rules(marks: LandmarkSet) -> Iterator[tuple[str, tuple[tuple[Mark, ...], ...]]]:
    """Yield each quantity with its corners, each the middle of some marks."""
    centre, bend, axis = marks.centre, marks.bend, marks.placed("neck_axis")
    outer, inner = axis[:1], axis[1:]
    end, lobe, crossing = (
        marks.placed(name) for name in ("appendage_end", "second_lobe_end", "septal_crossing")
    )
    ends = tuple((one,) for one in marks.ostium)
    corners: dict[str, tuple[tuple[Mark, ...], ...]] = {
        "ostium_by_landmarks": ends or ((),),
        "depth_straight": (centre, end),
        "depth_bent": (centre, bend, end),
        "bend_distance": (centre, bend),
        "second_lobe_depth": (centre, lobe),
        "crossing_distance": (crossing, centre),
        "neck_angle_by_landmarks": (outer, bend, end),
        "crossing_angle": (crossing, centre, inner),
    }
    return ((name, places) for name, places in corners.items() if all(places))


def _notes(caliper: Caliper, marks: LandmarkSet) -> Iterator[str]:
    if any(len(one) > 1 for one in caliper.marks):
        yield HALF_WAY
    over = caliper.measurand.name in {"depth_bent", "bend_distance", "neck_angle_by_landmarks"}
    if over and not marks.placed("bend"):
        yield BY_AXIS
    names = dict.fromkeys(mark.key.split(":")[-2] for one in caliper.marks for mark in one)
    yield (
        f"rests on {', '.join(names)}: rows on the same landmarks share the error of placing them"
    )
