"""What is true of an implant in a view: widths, protrusion, tilt, cover and gap, as seen there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from synthetic_dicom.filled_shape import FilledShape, filled_shape
from synthetic_dicom.implant import Implant
from synthetic_dicom.phantom_truth import point
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import DeviceTruth, PointPx
from synthetic_dicom.ultrasound_truth import central_chord_mm
from synthetic_dicom.ultrasound_view import Panel
from synthetic_dicom.xray_image import XrayScene, object_shifts_mm
from synthetic_dicom.xray_truth import silhouette_caliper

PLACES = (("device_face_width", 0.0), ("device_shoulder_width", 0.5), ("device_end_width", 1.0))
_INSIDE_MM = 10.0


def ultrasound_device(panel: Panel, beating: BeatingAnatomy, implant: Implant) -> list[DeviceTruth]:
    """Return the implant's truth in every frame of a plane that holds its axis.

    Raises
    ------
    ValueError
        If the implant leans out of the plane: its cut would not be its own width.
    """
    apart = (panel.plane_deg - implant.tilt_direction_deg) % 180.0
    if min(apart, 180.0 - apart) > 1e-9:
        raise ValueError(f"The implant leans out of the plane at {panel.plane_deg:g} degrees.")
    return [
        one
        for frame in range(len(beating.times_ms))
        for one in _in_plane(panel, beating, implant, frame)
    ]


def _in_plane(
    panel: Panel, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[DeviceTruth]:
    def px(*places: FloatArray) -> tuple[PointPx, ...]:
        return tuple(panel.to_px(float(x), panel.ostium_depth_mm + float(z)) for x, z in places)

    turn, radius = np.deg2rad(implant.tilt_deg), 0.5 * implant.width_mm
    along, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    face = np.array([0.0, -implant.protrusion_mm])
    end = face + implant.length_mm * along
    for name, share in PLACES:
        middle = face + share * implant.length_mm * along
        ends = px(middle - radius * across, middle + radius * across)
        yield _length(name, frame, ends, implant.width_mm)
    half = 0.5 * _chord_mm(panel, beating, frame, 0.0)
    line = px(np.array([-half, 0.0]), np.array([half, 0.0]))
    inside = np.array([0.0, _INSIDE_MM])
    points = (*line, *px(inside, face))
    yield _length("protrusion", frame, points, implant.protrusion_mm)
    points = px(np.zeros(2), inside, face, end)
    yield DeviceTruth(
        quantity="axis_tilt", frame=frame, points_px=points, value=implant.tilt_deg, unit="deg"
    )
    covered = min(radius * float(np.cos(turn)) / half, 1.0)
    points = (*line, *px(face - radius * across, face + radius * across))
    yield DeviceTruth(
        quantity="ostium_cover", frame=frame, points_px=points, value=covered, unit="1"
    )
    # level with the drum's middle, on the side from which it leans away
    level = float((face + 0.5 * implant.length_mm * along)[1])
    edge = (level + implant.protrusion_mm) * float(np.tan(turn)) - radius / float(np.cos(turn))
    wall = -0.5 * _chord_mm(panel, beating, frame, level)
    if wall < edge:
        points = px(np.array([wall, level]), np.array([edge, level]))
        yield _length("gap_width", frame, points, edge - wall)


def _chord_mm(panel: Panel, beating: BeatingAnatomy, frame: int, depth_mm: float) -> float:
    """Return the neck's chord in the plane at a depth of one frame."""
    stretch = beating.stretches()[frame]
    axes = stretch[:2] * beating.anatomy.section_axes_mm(depth_mm / float(stretch[2]))
    return central_chord_mm(axes, panel.plane_deg - beating.anatomy.orientation_deg)


def _length(name: str, frame: int, points_px: tuple[PointPx, ...], value_mm: float) -> DeviceTruth:
    return DeviceTruth(quantity=name, frame=frame, points_px=points_px, value=value_mm, unit="mm")


def xray_device(scene: XrayScene, beating: BeatingAnatomy, implant: Implant) -> list[DeviceTruth]:
    """Return widths, protrusion and tilt of the implant as a projection shows them."""
    found: list[DeviceTruth] = []
    for frame, shift in enumerate(object_shifts_mm(beating)):
        place = filled_shape(scene.setup, beating, index=frame, ostium_mm=scene.ostium_mm(shift))
        found += _projected(place, beating, implant, frame)
    return found


def _projected(
    place: FilledShape, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[DeviceTruth]:
    setup, to_view = place.setup, place.turn.T
    neck, along = to_view[:, 2], to_view @ implant.axes(beating.anatomy)[2]
    face = place.ostium_mm + to_view @ implant.face_mm()
    end = face + implant.length_mm * along

    def px(*places: FloatArray) -> tuple[PointPx, ...]:
        return tuple(point(one) for one in setup.project(np.array(places)))

    for name, share in PLACES:
        middle = face + share * implant.length_mm * along
        across = np.cross(along, _ray(place, middle))
        reach = 0.5 * implant.width_mm * across / np.linalg.norm(across)
        yield _length(name, frame, px(middle - reach, middle + reach), implant.width_mm)
    ray = _ray(place, place.ostium_mm)
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
    yield DeviceTruth(
        quantity="axis_tilt",
        frame=frame,
        points_px=px(place.ostium_mm, inside, face, end),
        value=float(np.rad2deg(np.arccos(np.clip(cosine, -1.0, 1.0)))),
        unit="deg",
    )


def _ray(place: FilledShape, at_mm: FloatArray) -> FloatArray:
    way = at_mm - place.setup.source_mm()
    return np.asarray(way / np.linalg.norm(way))
