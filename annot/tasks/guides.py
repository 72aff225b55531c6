"""Lines to draw by, worked out from what stands on a frame: for looking, measured nowhere."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration import LoopScale, PixelScale
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.geometry.projection import Projection, ray_in_other_view
from annot.loops import Loop
from annot.measurement.placed_landmark import LandmarkSet, sets_by_frame
from annot.measurement.view_geometry import projection_of, refuse_moved_table
from annot.reads import LoopRead
from annot.vocabulary.landmarks import LANDMARKS
from annot.vocabulary.protocol import Protocol

FloatArray = NDArray[np.float64]
# how far a guide reaches beyond the ostium's own width
REACH = 1.25
# how far along the first view's ray a landmark is looked for, either way from the isocentre
HEIGHT_MM, STEPS = 120.0, 61
OSTIUM, DEPTH = "ostium_width", "depth"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """A line to draw by.

    Attributes
    ----------
    name : {"parallel", "square", "ray"}
    points : tuple of PixelPoint
    words : str
        What it is, with the uncertainty of the distance that it stands at.
    """

    name: str
    points: tuple[PixelPoint, ...]
    words: str


def landing_guides(
    part: LoopRead, scale: LoopScale, frame: int, rules: Protocol
) -> tuple[Guide, ...]:
    """Return where a protocol wants the landing zone's width on a frame, where what stands tells.

    Parallel to the ostium at the protocol's distance inside it; and square to the neck's axis at
    that distance, where the axis is placed. Which side is inside follows from the neck's axis, the
    appendage's end or a depth on the same frame; without them there is no guide.

    Parameters
    ----------
    part : LoopRead
    scale : LoopScale
        A guide at a distance in mm needs one that holds at the ostium.
    frame : int
    rules : Protocol
    """
    inside_mm = rules.landing_zone_inside_mm
    marks = next((one for one in sets_by_frame(part.landmarks) if one.frame == frame), None)
    ostium = _ostium(part, frame, marks)
    if inside_mm is None or not ostium:
        return ()
    held = scale.at(ostium, frame=frame)
    if not isinstance(held, PixelScale):
        return ()
    plane = _Plane(held)
    ends = plane.to_mm(ostium)
    inner = _inner(part, frame, marks)
    axis = _placed(marks, "neck_axis")
    words = f"{inside_mm:g} ± {inside_mm * held.u_rel:.1g} mm inside (u, of the scale)"
    found = []
    if inner:
        inwards = plane.to_mm(inner)[-1] - ends.mean(axis=0)
        across = _unit(ends[1] - ends[0])
        square = inwards - (inwards @ across) * across
        found.append(
            Guide(
                name="parallel",
                points=plane.line(ends, _unit(square) * inside_mm, across),
                words=f"{words},\nparallel to the ostium",
            )
        )
    if axis:
        along = _unit(np.diff(plane.to_mm(axis), axis=0)[0])
        across = np.array([-along[1], along[0]])
        found.append(
            Guide(
                name="square",
                points=plane.line(ends, along * inside_mm, across),
                words=f"{words},\nsquare to the neck's axis",
            )
        )
    return tuple(found)


def rays_from_other_views(
    parts: Iterable[LoopRead], loops: Mapping[str, Loop], file: str, frame: int
) -> tuple[Guide, ...]:
    """Return where landmarks of the other X-ray loops may lie on a frame: the epipolar lines.

    A landmark that is placed on this frame has none; nor has a loop whose header does not place its
    view in space, or between which and this one the table moved.
    """
    parts = tuple(parts)
    own = next(one for one in parts if one.file == file)
    here = {one.name for one in own.landmarks if one.frame == frame}
    return tuple(
        guide
        for other in parts
        if other.file != file and other.landmarks and loops[other.file].header.xray is not None
        for guide in _rays(other, loops, (file, frame), here)
    )


@dataclass(frozen=True, slots=True)
class _Plane:
    """Places in mm under one scale, and back."""

    scale: PixelScale

    @property
    def size(self) -> FloatArray:
        return np.array([self.scale.row.value, self.scale.column.value])

    def to_mm(self, points: Iterable[PixelPoint]) -> FloatArray:
        return np.array([(one.row, one.column) for one in points]) * self.size

    def line(
        self, ends: FloatArray, shift: FloatArray, across: FloatArray
    ) -> tuple[PixelPoint, PixelPoint]:
        """Return a line through the ostium's shifted middle, a little longer than the ostium."""
        half = REACH * float(np.linalg.norm(ends[1] - ends[0])) / 2
        middle = ends.mean(axis=0) + shift
        first, last = ((middle + way * half * across) / self.size for way in (-1, 1))
        return PixelPoint(*map(float, first)), PixelPoint(*map(float, last))


def _ostium(part: LoopRead, frame: int, marks: LandmarkSet | None) -> tuple[PixelPoint, ...]:
    """Return the ostium's two ends on a frame: as drawn last, else from landmark to landmark."""
    drawn = _drawn(part, OSTIUM, frame)
    if drawn:
        return drawn
    return () if marks is None else tuple(one.point for one in marks.ostium)


def _inner(part: LoopRead, frame: int, marks: LandmarkSet | None) -> tuple[PixelPoint, ...]:
    """Return points of which the last one lies inside the appendage."""
    placed = _placed(marks, "neck_axis") or _placed(marks, "appendage_end")
    return placed or _drawn(part, DEPTH, frame)


def _placed(marks: LandmarkSet | None, name: str) -> tuple[PixelPoint, ...]:
    return () if marks is None else tuple(one.point for one in marks.placed(name))


def _drawn(part: LoopRead, quantity: str, frame: int) -> tuple[PixelPoint, ...]:
    found = [
        one.points
        for one in part.calipers
        if one.measurand.name == quantity and one.frame.frame == frame
    ]
    return found[-1] if found else ()


def _unit(vector: FloatArray) -> FloatArray:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 0 else vector


def _rays(
    other: LoopRead, loops: Mapping[str, Loop], place: tuple[str, int], here: set[str]
) -> Iterator[Guide]:
    file, frame = place
    latest = {one.name: one for one in sorted(other.landmarks, key=lambda one: one.frame)}
    for mark in latest.values():
        if mark.name in here or len(mark.points) != 1:
            continue
        try:
            first = projection_of(loops[other.file].header, mark.frame)
            second = projection_of(loops[file].header, frame)
            refuse_moved_table((loops[other.file].header, mark.frame), (loops[file].header, frame))
        except InputError:
            continue
        points = _ray(first, second, mark.points[0])
        if len(points) > 1:
            name = loops[other.file].header.path.name
            title = LANDMARKS[mark.name].title.lower()
            yield Guide(
                name="ray",
                points=points,
                words=f"somewhere here lies\n{title} of {name}, frame {mark.frame}",
            )


def _ray(first: Projection, second: Projection, point: PixelPoint) -> tuple[PixelPoint, ...]:
    heights = np.linspace(-HEIGHT_MM, HEIGHT_MM, STEPS).tolist()
    seen = ray_in_other_view(first, second, [point.row, point.column], heights)
    points = (PixelPoint(float(row), float(column)) for row, column in seen)
    return tuple(one for one in points if one.is_inside(second.rows, second.columns))
