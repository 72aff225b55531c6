"""One case of the catheter study: what is drawn, how it is rendered, what the instrument says."""

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from annot.tasks.rehearse.scale_answer import Fields, Shown, answers
from annot.tasks.rehearse.shaft_bound import KnownBefore, shaft_bound_rel
from annot.tasks.rehearse.trial import Trial

if TYPE_CHECKING:
    from synthetic_dicom.course import Course
    from synthetic_dicom.object_picture import Recording, Shape
    from synthetic_dicom.shaft_profile import ShaftProfile

SIZES_PX = (6.0, 9.0, 13.0, 20.0)
BLURS = (0.05, 0.10, 0.20)  # standard deviation of the blur over the diameter
CONTRASTS = (3.0, 6.0, 12.0, 30.0)  # peak depth of the shadow over a background pixel's noise
CELLS = tuple(product(SIZES_PX, BLURS, CONTRASTS))
AS_MODELLED = "as modelled"
MISMATCHES = ("glare", "veil", "wall", "logarithm", "noise")
EVERY = 4  # every fourth round through the cells goes to the mismatches, in turn
TOLERANCE_MM = 0.02
RATIOS = (0.55, 0.90)

DRAWN = {
    "cells": "diameter 6, 9, 13, 20 px (± 7 %); blur 0.05, 0.10, 0.20 diameters; contrast to "
    "noise 3, 6, 12, 30; in turn",
    "size": "stated as 1.60 to 2.80 mm ± 0.02 mm, true within that, both flat",
    "lumen": "inner over outer diameter flat in 0.55 to 0.90",
    "wall": "optical depth of a path of one diameter log-flat in 0.3 to 2.0",
    "filling": "empty 1/2, contrast 1/2 (log-flat in 0.3 to 2.5); the reader knows which in 4/5",
    "other diameter": "stated in 1/2 of the cases, true within ± 0.02 mm, flat",
    "course": "any direction; turns by up to ± 20° along the trace, flat",
    "trace": "8 to 14 diameters and at least 45 px long, points off the axis by 1.2 px "
    "(standard deviation, Gaussian)",
    "overlap": "none 1/2; a crossing wire 1/4 (0.15 to 0.5 diameters, at 35 to 90°); a soft "
    "edge behind 1/4 (depth 0.05 to 0.25, width 3 to 15 px)",
    "veil": "scatter 0 to 0.4 of the background, flat; background slopes up to ± 0.1 % per px",
    "glare (mismatch)": "a fifth of the blur is three times as wide",
    "veil (mismatch)": "scatter 0.5 to 0.7 of the background",
    "wall (mismatch)": "the stated inner diameter is off by 3 to 6 % of the outer one, either way",
    "logarithm (mismatch)": "logarithms are stored, while the header says intensities",
    "noise (mismatch)": "noise of neighbouring pixels goes together (blur of 0.7 px)",
}


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


def mismatch_of(case: int) -> str:
    """Return which mismatch a case is given to, empty for none."""
    turn = case // len(CELLS)
    return MISMATCHES[turn // EVERY % len(MISMATCHES)] if turn % EVERY == EVERY - 1 else ""


def draw(case: int, rng: np.random.Generator) -> ShaftCase:
    """Draw one case; every case draws the same things in the same order."""
    cell = CELLS[case % len(CELLS)]
    size = cell[0] * float(rng.uniform(0.93, 1.07))
    stated = round(float(rng.uniform(1.6, 2.8)), 2)
    filled = bool(rng.random() < 0.5)
    lumen = float(np.exp(rng.uniform(np.log(0.3), np.log(2.5))))
    veil = float(rng.uniform(0.0, 0.4))
    mismatch = mismatch_of(case)
    return ShaftCase(
        size_px=size,
        blur=cell[1],
        contrast=cell[2],
        mismatch=mismatch,
        stated_mm=stated,
        true_mm=stated + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM)),
        ratio=float(rng.uniform(*RATIOS)),
        wall=float(np.exp(rng.uniform(np.log(0.3), np.log(2.0)))),
        lumen=lumen if filled else 0.0,
        veil=veil / 2 + 0.5 if mismatch == "veil" else veil,
        length_px=max(45.0, float(rng.uniform(8.0, 14.0)) * size),
        heading=float(rng.uniform(0.0, math.pi)),
        turn=math.radians(float(rng.uniform(-20.0, 20.0))),
        knows_filling=bool(rng.random() < 0.8),
        knows_other=bool(rng.random() < 0.5),
    )


def run_shaft_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and scale one case; give the diameter in pixels and the scale as trials."""
    drawn = draw(case, rng)
    shown = shown_of(drawn, rng)
    before = KnownBefore(
        lumen_ratio=_ratio_spread(drawn),
        primary_share=0.20,
        lumen_is_empty=drawn.knows_filling and drawn.lumen == 0.0,
    )
    bound = shaft_bound_rel(
        drawn.profile, length_px=drawn.length_px, noise=drawn.noise, before=before
    )
    labels = {
        "size": f"{CELLS[case % len(CELLS)][0]:g} px",
        "blur": f"{drawn.blur:g}",
        "contrast": f"{drawn.contrast:g}",
        "other diameter": "stated" if drawn.knows_other else "not stated",
        "filling": ("contrast" if drawn.lumen else "empty") if drawn.knows_filling else "unknown",
    }
    arm = drawn.mismatch or AS_MODELLED
    return answers(shown, case=case, arm=arm, labels=labels, beside={"bound_rel": bound})


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
    trace = way[:, 1::-1] - low + rng.normal(0.0, 1.2, (len(way), 2))
    return Shown(
        stored=picture.stored(rng),
        request=_request(drawn, trace, rng),
        size_px=drawn.size_px,
        mm_per_px=drawn.true_mm / drawn.size_px,
    )


def _ratio_spread(drawn: ShaftCase) -> float:
    """Return what is known of the lumen ratio before, as a standard deviation."""
    if drawn.knows_other:
        return TOLERANCE_MM / math.sqrt(3.0) / drawn.stated_mm * math.hypot(1.0, drawn.ratio)
    return (RATIOS[1] - RATIOS[0]) / math.sqrt(12.0)


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
    from dataclasses import replace

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
        "depth_offset_mm": 0,
        "frame": 0,
        "axis_px": [[round(float(row), 2), round(float(column), 2)] for row, column in trace],
    }
    if drawn.knows_filling:
        fields["filling"] = "contrast" if drawn.lumen else "empty"
    if drawn.knows_other or drawn.mismatch == "wall":
        fields["other_mm"] = round(inner, 3)
    return fields
