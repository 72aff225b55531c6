"""The picture of a drawn shaft, and what its reader states of it."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from annot.tasks.rehearse.scale_answer import SOURCE_MM, Fields, Shown

if TYPE_CHECKING:
    from synthetic_dicom.course import Course
    from synthetic_dicom.object_picture import Recording, Shape
    from synthetic_dicom.shaft_profile import ShaftProfile

TOLERANCE_MM = 0.02
TRACE_SD_PX = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftCase:
    """What one case has drawn."""

    size_px: float
    blur: float
    contrast: float
    mismatch: str
    stated_mm: float
    true_mm: float
    ratio: float
    wall: float
    lumen: float
    veil: float
    length_px: float
    heading: float
    turn: float
    knows_filling: bool
    knows_other: bool
    filling_effect: float
    depth_offset_mm: float
    off_isocentre_mm: float
    nearer_mm: float

    @property
    def mm_per_px(self) -> float:
        """Return the true scale at the anatomy.

        The shadow is drawn `filling_effect` wider than the shaft itself would be seen; the anatomy
        lies `nearer_mm` nearer to the source than the shaft, and the shaft off the isocentre.
        """
        at_shaft = self.true_mm * (1.0 + self.filling_effect) / self.size_px
        away = SOURCE_MM["sod"] + self.off_isocentre_mm
        return at_shaft * (away - self.nearer_mm) / away

    @property
    def profile(self) -> "ShaftProfile":
        """Return the shaft across a line, without overlap."""
        from synthetic_dicom.shaft_profile import ShaftProfile

        return ShaftProfile(
            outer_px=self.size_px,
            inner_px=self.ratio * self.size_px,
            wall_per_px=self.wall / self.size_px,
            lumen_per_px=self.lumen / self.size_px,
            blur_px=self.blur * self.size_px,
            veil=self.veil,
            angle_deg=math.degrees(self.heading),
        )

    @property
    def noise(self) -> float:
        """Return the noise of a background pixel that gives the cell's contrast."""
        return self.profile.peak() / self.contrast


def shown_of(drawn: ShaftCase, rng: np.random.Generator) -> Shown:
    """Return the picture of a drawn case and what its reader states of it."""
    from synthetic_dicom.object_picture import ObjectPicture, TubeShape

    margin = math.ceil(2.4 * drawn.size_px + 16.0)
    course, inset = _course(drawn, margin)
    way = np.array([course.point_mm(inset + part * drawn.length_px) for part in _parts(drawn)])
    low = np.floor(way[:, 1::-1].min(axis=0)) - margin
    size = np.ceil(way[:, 1::-1].max(axis=0)) + margin - low + 1
    origin = (float(low[1]), float(low[0]))
    course = _moved(course, origin)
    tube = TubeShape(
        course=course,
        outer_px=drawn.size_px,
        inner_px=drawn.ratio * drawn.size_px,
        wall_per_px=drawn.wall / drawn.size_px,
        lumen_per_px=drawn.lumen / drawn.size_px,
    )
    middle = course.point_mm(inset + float(rng.uniform(0.2, 0.8)) * drawn.length_px)
    picture = ObjectPicture(
        rows=int(size[0]),
        columns=int(size[1]),
        shapes=(tube, *_overlap(drawn, (float(middle[1]), float(middle[0])), rng)),
        recording=_recording(drawn, rng),
    )
    trace = way[:, 1::-1] - low + rng.normal(0.0, TRACE_SD_PX, (len(way), 2))
    return Shown(
        stored=picture.stored(rng),
        request=_request(drawn, trace, rng),
        size_px=drawn.size_px,
        mm_per_px=drawn.mm_per_px,
    )


def _parts(drawn: ShaftCase) -> tuple[float, ...]:
    """Return where along its course the reader clicks: twice on a straight shaft."""
    return (0.0, 1.0) if abs(drawn.turn) < math.radians(4.0) else (0.0, 0.25, 0.5, 0.75, 1.0)


def _course(drawn: ShaftCase, margin: int) -> "tuple[Course, float]":
    """Return a course that leaves the picture at both ends, and where the trace starts on it."""
    from synthetic_dicom.course import Course

    bend = drawn.turn / drawn.length_px
    inset = 2.0 * margin
    half = 0.5 * drawn.length_px + inset
    reach = half if abs(bend) < 1e-9 else math.sin(half * abs(bend)) / abs(bend)
    ahead = (math.cos(drawn.heading) * reach, math.sin(drawn.heading) * reach)
    return (
        Course(
            start_mm=(-ahead[0], -ahead[1]),
            end_mm=ahead,
            height_mm=0.0,
            bend_per_mm=0.0 if abs(bend) < 1e-9 else bend,
        ),
        inset,
    )


def _moved(course: "Course", origin: tuple[float, float]) -> "Course":
    start = (course.start_mm[0] - origin[0], course.start_mm[1] - origin[1])
    end = (course.end_mm[0] - origin[0], course.end_mm[1] - origin[1])
    return replace(course, start_mm=start, end_mm=end)


def _overlap(
    drawn: ShaftCase, place: tuple[float, float], rng: np.random.Generator
) -> "tuple[Shape, ...]":
    """Draw what lies over the shaft; (row, column) is a place on its axis."""
    from synthetic_dicom.course import Course
    from synthetic_dicom.object_picture import SoftEdge, TubeShape

    kind, angle, sign = rng.random(), rng.uniform(35.0, 90.0), rng.choice([-1.0, 1.0])
    width, depth = rng.uniform(0.15, 0.5) * drawn.size_px, rng.uniform(0.3, 1.5)
    edge = SoftEdge(
        through_px=place,
        angle_deg=float(rng.uniform(0.0, 360.0)),
        width_px=float(rng.uniform(3.0, 15.0)),
        depth=float(rng.uniform(0.05, 0.25)),
    )
    if kind < 0.5:
        return ()
    if kind < 0.75:
        return (edge,)
    heading = drawn.heading + sign * math.radians(angle)
    ahead = (1000.0 * math.cos(heading), 1000.0 * math.sin(heading))
    course = Course(
        start_mm=(place[1] - ahead[0], place[0] - ahead[1]),
        end_mm=(place[1] + ahead[0], place[0] + ahead[1]),
        height_mm=0.0,
    )
    wire = TubeShape(
        course=course, outer_px=float(width), inner_px=0.0, wall_per_px=float(depth / width)
    )
    return (wire,)


def _recording(drawn: ShaftCase, rng: np.random.Generator) -> "Recording":
    from synthetic_dicom.object_picture import Recording

    slope = rng.uniform(-0.001, 0.001, 2)
    return Recording(
        blur_px=drawn.blur * drawn.size_px,
        tail=0.2 if drawn.mismatch == "glare" else 0.0,
        veil=drawn.veil,
        noise=drawn.noise,
        correlated_px=0.7 if drawn.mismatch == "noise" else 0.0,
        slope=(float(slope[0]), float(slope[1])),
        logarithmic=drawn.mismatch == "logarithm",
    )


def _request(drawn: ShaftCase, trace: np.ndarray, rng: np.random.Generator) -> Fields:
    """Return what the reader states, in the read file's words."""
    inner = drawn.ratio * drawn.true_mm + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM))
    off = float(rng.uniform(0.03, 0.06) * rng.choice([-1.0, 1.0]))
    if drawn.mismatch == "wall":
        inner += off * drawn.stated_mm
    fields: Fields = {
        "kind": "catheter",
        "size_mm": drawn.stated_mm,
        "tolerance_mm": TOLERANCE_MM,
        "depth_offset_mm": drawn.depth_offset_mm,
        "frame": 0,
        "axis_px": [[round(float(row), 2), round(float(column), 2)] for row, column in trace],
    }
    if drawn.knows_filling:
        fields["filling"] = "contrast" if drawn.lumen else "empty"
    if drawn.knows_other or drawn.mismatch == "wall":
        fields["other_mm"] = round(inner, 3)
    return fields
