"""An X-ray frame of an invented patient with a reference object, and what its reader states."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from synthetic_dicom.course import Course
    from synthetic_dicom.reference_objects import ReferenceObject
    from synthetic_dicom.scene import BeatingAnatomy
    from synthetic_dicom.truth import CaliperTruth
    from synthetic_dicom.xray_image import XrayExposure, XrayScene
    from synthetic_dicom.xray_view import XraySetup

Fields = dict[str, object]
PointPx = tuple[float, float]
TOLERANCE_MM = 0.02
TRACE_SD_PX = 1.2
CLEAR_ROWS = (325.0, 440.0)

DRAWN_XRAY = {
    "X-ray view": "source to detector 950 to 1150 mm, to isocentre 700 to 780 mm, spacing 0.18 to "
    "0.25 mm; right-oblique 15 to 35°, cranial 10 to 25° or caudal 10 to 25°; all flat, all in the "
    "header",
    "X-ray object": "catheter 9/10 (stated 1.7 to 2.7 mm ± 0.02 mm, true within that, flat; inner "
    "over outer 0.55 to 0.90, stated ± 0.02 mm; empty 1/2, contrast 1/2, stated), sphere 1/10 (5 "
    "to 8 mm ± 0.02 mm)",
    "X-ray depth": "half-range stated as 10 to 30 mm; true difference of depth to what is "
    "measured flat within it",
    "X-ray tilt": "depth calipers only: half-range stated as 10, 20 or 30°, true tilt flat within",
    "X-ray frame": "one; blur 0.6 to 1.2 px, scatter 0 to 0.3, 2000 to 10000 quanta per pixel",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayCase:
    """One drawn frame: scene, anatomy, the truth to be measured, and what the reader states.

    Attributes
    ----------
    wanted : CaliperTruth
        The true distance; for a depth, tilted as drawn.
    depth_offset_mm, tilt_deg : float
        Half-ranges that the reader states; the truth lies within.
    """

    scene: "XrayScene"
    beating: "BeatingAnatomy"
    wanted: "CaliperTruth"
    statement: Fields
    trace_px: tuple[PointPx, ...]
    depth_offset_mm: float
    tilt_deg: float

    def request(self, rng: np.random.Generator) -> Fields:
        """Return the scale request in the read file's words, drawn with an unsteady hand."""
        spots = [
            [round(value + float(rng.normal(0.0, TRACE_SD_PX)), 2) for value in place]
            for place in self.trace_px
        ]
        common = {**self.statement, "frame": 0, "depth_offset_mm": round(self.depth_offset_mm, 3)}
        if self.statement["kind"] == "sphere":
            return {**common, "centre_px": spots[0]}
        return {**common, "axis_px": spots}

    def frame(self, seed: int) -> "NDArray[np.uint16]":
        """Render the frame, shape (rows, columns)."""
        from synthetic_dicom.xray_image import render_xray

        return np.asarray(render_xray(self.scene, self.beating, seed=seed)[0])


def draw_xray(beating: "BeatingAnatomy", quantity: str, rng: np.random.Generator) -> XrayCase:
    """Draw the frame in which one quantity of an appendage is to be measured."""
    from synthetic_dicom.xray_image import XrayScene

    setup = _view(rng)
    bare = XrayScene(setup=setup, objects=(), exposure=_exposure(rng))
    tilt = float(rng.choice([10.0, 20.0, 30.0]))
    wanted, height = _wanted(bare, beating, quantity, math.radians(rng.uniform(-tilt, tilt)))
    half_range = float(rng.uniform(10.0, 30.0))
    height += half_range * float(rng.uniform(-1.0, 1.0))
    thing, statement, trace = _object(setup, height, rng)
    return XrayCase(
        scene=replace(bare, objects=(thing,)),
        beating=beating,
        wanted=wanted,
        statement=statement,
        trace_px=trace,
        depth_offset_mm=half_range,
        tilt_deg=tilt,
    )


def _view(rng: np.random.Generator) -> "XraySetup":
    from synthetic_dicom.xray_view import XraySetup

    spacing = float(rng.uniform(0.18, 0.25))
    return XraySetup(
        sid_mm=float(rng.uniform(950.0, 1150.0)),
        sod_mm=float(rng.uniform(700.0, 780.0)),
        spacing_mm=(spacing, spacing),
        primary_deg=float(rng.uniform(-35.0, -15.0)),
        secondary_deg=float(rng.uniform(10.0, 25.0) * rng.choice([-1.0, 1.0])),
    )


def _exposure(rng: np.random.Generator) -> "XrayExposure":
    from synthetic_dicom.xray_image import XrayExposure

    return XrayExposure(
        blur_sigma_px=float(rng.uniform(0.6, 1.2)),
        veil=float(rng.uniform(0.0, 0.3)),
        quanta=float(rng.uniform(2000.0, 10000.0)),
    )


def _wanted(
    scene: "XrayScene", beating: "BeatingAnatomy", quantity: str, tilt_rad: float
) -> "tuple[CaliperTruth, float]":
    """Return the true caliper and its height above the isocentre.

    A depth is laid at the drawn tilt along the direction in which the appendage points, and
    projected again: the sign table speaks of a segment whose tilt is not known.
    """
    from synthetic_dicom.phantom_truth import point
    from synthetic_dicom.xray_truth import xray_calipers

    truth = next(one for one in xray_calipers(scene, beating) if one.quantity == quantity)
    setup = scene.setup
    if quantity != "depth":
        # the truth's own scale gives the height: spacing · (SOD − h) / SID
        share = truth.mm_per_px[0] / setup.spacing_mm[0]
        return truth, setup.sod_mm - share * setup.sid_mm
    ostium = scene.ostium_mm(np.zeros(2))
    first, last = np.array(truth.points_px)
    ahead = (last - first)[::-1] / np.hypot(*(last - first))
    reach = truth.value_mm * np.array([*(math.cos(tilt_rad) * ahead), math.sin(tilt_rad)])
    ends = setup.project(np.array([ostium, ostium + reach]))
    moved = replace(truth, points_px=(point(ends[0]), point(ends[1])))
    return moved, float(ostium[2] + 0.5 * reach[2])


def _object(
    setup: "XraySetup", height_mm: float, rng: np.random.Generator
) -> "tuple[ReferenceObject, Fields, tuple[PointPx, ...]]":
    if rng.random() < 0.1:
        return _sphere(setup, height_mm, rng)
    return _catheter(setup, height_mm, rng)


def _sphere(
    setup: "XraySetup", height_mm: float, rng: np.random.Generator
) -> "tuple[ReferenceObject, Fields, tuple[PointPx, ...]]":
    from synthetic_dicom.reference_objects import Sphere
    from synthetic_dicom.xray_truth import shadow_width_px

    stated = round(float(rng.uniform(5.0, 8.0)), 1)
    place = np.array([rng.uniform(385.0, 420.0), rng.uniform(385.0, 420.0)])
    x_mm, y_mm = setup.at_height(place, height_mm)
    ball = Sphere(
        id="sphere",
        centre_mm=(float(x_mm), float(y_mm), height_mm),
        diameter_mm=stated + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM)),
        ball_per_mm=float(rng.uniform(0.05, 0.2)),
    )
    statement: Fields = {
        "kind": "sphere",
        "diameter_mm": stated,
        "tolerance_mm": TOLERANCE_MM,
        "radius_px": round(0.5 * shadow_width_px(setup, ball) * float(rng.uniform(0.93, 1.07)), 1),
    }
    return ball, statement, ((float(place[0]), float(place[1])),)


def _catheter(
    setup: "XraySetup", height_mm: float, rng: np.random.Generator
) -> "tuple[ReferenceObject, Fields, tuple[PointPx, ...]]":
    from synthetic_dicom.course import Course
    from synthetic_dicom.reference_objects import Catheter

    stated, filled = round(float(rng.uniform(1.7, 2.7)), 2), bool(rng.random() < 0.5)
    outer = stated + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM))
    inner = outer * float(rng.uniform(0.55, 0.90))
    # below the appendage and beside the spine, where a careful reader would trace a shaft
    ends = np.array([[590.0, rng.uniform(380.0, 430.0)], [270.0, rng.uniform(320.0, 380.0)]])
    start, end = setup.at_height(ends, height_mm)
    path = Course(
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        height_mm=height_mm,
        bend_per_mm=float(rng.uniform(-1.0, 1.0)) / 150.0,
    )
    tube = Catheter(
        id="catheter",
        path=path,
        outer_mm=outer,
        inner_mm=inner,
        filled=filled,
        wall_per_mm=float(rng.uniform(0.25, 0.9)),
        contrast_per_mm=float(rng.uniform(0.25, 0.9)),
    )
    statement: Fields = {
        "kind": "catheter",
        "size_mm": stated,
        "tolerance_mm": TOLERANCE_MM,
        "other_mm": round(inner + float(rng.uniform(-TOLERANCE_MM, TOLERANCE_MM)), 3),
        "filling": "contrast" if filled else "empty",
    }
    return tube, statement, _traced(setup, path)


def _traced(setup: "XraySetup", path: "Course") -> tuple[PointPx, ...]:
    """Return where the reader clicks along the axis, within the rows that nothing crosses."""
    way = setup.project(path.samples_mm(400))
    clear = way[(way[:, 0] >= CLEAR_ROWS[0]) & (way[:, 0] <= CLEAR_ROWS[1])]
    chosen = clear[np.linspace(0, len(clear) - 1, 4).round().astype(int)]
    return tuple((float(row), float(column)) for row, column in chosen)
