"""What is true of an implant in a projection: its shadow against that of the neck."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from synthetic_dicom.filled_shape import FilledShape
from synthetic_dicom.implant import PLACES, Implant
from synthetic_dicom.phantom_truth import point
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import PointPx, SeenTruth
from synthetic_dicom.xray_truth import silhouette_caliper

_INSIDE_MM = 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shadow:
    """Neck and drum seen along one ray: two directions square to it, and both axes in them.

    `neck` and `drum` are the axes' parts in the picture, (along the neck's shadow, across it).
    """

    place: FilledShape
    implant: Implant
    ray: FloatArray
    along: FloatArray
    across: FloatArray
    neck: float
    drum: FloatArray

    @classmethod
    def of(cls, place: FilledShape, beating: BeatingAnatomy, implant: Implant) -> _Shadow:
        to_view = place.turn.T
        neck, axis = to_view[:, 2], to_view @ implant.axes(beating.anatomy)[2]
        ray = ray_at(place, place.ostium_mm)
        along = neck - (neck @ ray) * ray
        length = float(np.linalg.norm(along))
        along = along / length
        across = np.cross(neck, ray)
        across = across / np.linalg.norm(across)
        drum = np.array([axis @ along, axis @ across])
        return cls(
            place=place,
            implant=implant,
            ray=ray,
            along=along,
            across=across,
            neck=length,
            drum=drum,
        )

    def edge_mm(self, side: float) -> FloatArray:
        """Return where the face's shadow ends on one side: (along, across) from the ostium."""
        face = np.array([-self.implant.protrusion_mm * self.neck, 0.0])
        square = side * np.array([-self.drum[1], self.drum[0]]) / np.linalg.norm(self.drum)
        return np.asarray(face + 0.5 * self.implant.width_mm * square)

    def mantle_across_mm(self, side: float, level_mm: float) -> float:
        """Return where the mantle's shadow crosses a line across the neck's shadow."""
        start = self.edge_mm(side)
        return float(start[1] + (level_mm - start[0]) * self.drum[1] / self.drum[0])

    def px(self, *places: FloatArray) -> tuple[PointPx, ...]:
        """Return pixels of places (along, across), all at the depth of the ostium's middle."""
        at = [self.place.ostium_mm + a * self.along + b * self.across for a, b in places]
        return tuple(point(one) for one in self.place.setup.project(np.array(at)))


def projected_device(
    place: FilledShape, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[SeenTruth]:
    """Return widths, protrusion, tilt, cover, gap and the way to the ridge in one frame."""
    shadow = _Shadow.of(place, beating, implant)
    yield from _along_the_drum(place, beating, implant, frame)
    half = 0.5 * _width_mm(place, beating, frame, 0.0)
    line = shadow.px(np.array([0.0, -half]), np.array([0.0, half]))
    edges = [shadow.edge_mm(side) for side in (-1.0, 1.0)]
    covered = min((edges[1][1] - edges[0][1]) / (2.0 * half), 1.0)
    yield SeenTruth(
        quantity="ostium_cover",
        frame=frame,
        points_px=(*line, *shadow.px(*edges)),
        value=float(covered),
        unit="1",
    )
    ridge = np.array([0.0, half])
    yield _length(
        "ridge_distance",
        frame,
        shadow.px(edges[1], ridge),
        float(np.linalg.norm(ridge - edges[1])),
    )
    gap = _gap_mm(shadow, beating, frame)
    if gap is not None:
        yield _length("gap_width", frame, shadow.px(*gap), float(np.linalg.norm(gap[1] - gap[0])))


def _gap_mm(
    shadow: _Shadow, beating: BeatingAnatomy, frame: int
) -> tuple[FloatArray, FloatArray] | None:
    """Return the open way on the side from which the drum leans away, level with its middle."""
    implant = shadow.implant
    side = -1.0 if shadow.drum[1] > 0.0 else 1.0
    tilt = np.deg2rad(implant.tilt_deg)
    deep = 0.5 * implant.length_mm * float(np.cos(tilt)) - implant.protrusion_mm
    level = deep * shadow.neck
    wall = side * 0.5 * _width_mm(shadow.place, beating, frame, deep)
    edge = shadow.mantle_across_mm(side, level)
    if side * (wall - edge) <= 0.0:
        return None
    return np.array([level, wall]), np.array([level, edge])


def _width_mm(place: FilledShape, beating: BeatingAnatomy, frame: int, depth_mm: float) -> float:
    """Return the width of the neck's shadow at a depth of one frame."""
    stretch = beating.stretches()[frame]
    axes = stretch[:2] * beating.anatomy.section_axes_mm(depth_mm / float(stretch[2]))
    found = silhouette_caliper(
        place,
        axes,
        ("width", frame),
        depth_mm=depth_mm,
        orientation_deg=beating.anatomy.orientation_deg,
    )
    return found.value_mm


def _along_the_drum(
    place: FilledShape, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[SeenTruth]:
    setup, to_view = place.setup, place.turn.T
    neck, along = to_view[:, 2], to_view @ implant.axes(beating.anatomy)[2]
    face = place.ostium_mm + to_view @ implant.face_mm()
    end = face + implant.length_mm * along

    def px(*places: FloatArray) -> tuple[PointPx, ...]:
        return tuple(point(one) for one in setup.project(np.array(places)))

    for name, share in PLACES:
        middle = face + share * implant.length_mm * along
        across = np.cross(along, ray_at(place, middle))
        reach = 0.5 * implant.width_mm * across / np.linalg.norm(across)
        yield _length(name, frame, px(middle - reach, middle + reach), implant.width_mm)
    ray = ray_at(place, place.ostium_mm)
    ostium = silhouette_caliper(
        place,
        beating.ostium_axes_mm()[frame],
        ("ostium_width", frame),
        depth_mm=0.0,
        orientation_deg=beating.anatomy.orientation_deg,
    )
    inside = place.ostium_mm + _INSIDE_MM * neck
    points = (*ostium.points_px, *px(inside, face))
    seen = implant.protrusion_mm * float(np.sqrt(1.0 - (neck @ ray) ** 2))
    yield _length("protrusion", frame, points, seen)
    flat = [one - (one @ ray) * ray for one in (neck, along)]
    cosine = float(flat[0] @ flat[1] / np.linalg.norm(flat[0]) / np.linalg.norm(flat[1]))
    yield SeenTruth(
        quantity="axis_tilt",
        frame=frame,
        points_px=px(place.ostium_mm, inside, face, end),
        value=float(np.rad2deg(np.arccos(np.clip(cosine, -1.0, 1.0)))),
        unit="deg",
    )


def ray_at(place: FilledShape, at_mm: FloatArray) -> FloatArray:
    """Return the unit ray from the source to a place in view coordinates."""
    way = at_mm - place.setup.source_mm()
    return np.asarray(way / np.linalg.norm(way))


def _length(name: str, frame: int, points_px: tuple[PointPx, ...], value_mm: float) -> SeenTruth:
    return SeenTruth(quantity=name, frame=frame, points_px=points_px, value=value_mm, unit="mm")
