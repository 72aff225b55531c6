"""What is true of an implant in a view: widths, protrusion, tilt, cover and gap, as seen there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from synthetic_dicom.device_neighbours import device_neighbours
from synthetic_dicom.filled_shape import filled_shape
from synthetic_dicom.implant import PLACES, Implant
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import PointPx, SeenTruth
from synthetic_dicom.ultrasound_truth import central_chord_mm
from synthetic_dicom.ultrasound_view import Panel
from synthetic_dicom.xray_device import projected_device
from synthetic_dicom.xray_image import XrayScene, object_shifts_mm

_INSIDE_MM = 10.0


def xray_device(scene: XrayScene, beating: BeatingAnatomy, implant: Implant) -> list[SeenTruth]:
    """Return the implant's numbers as a projection shows them, in every frame."""
    found: list[SeenTruth] = []
    for frame, shift in enumerate(object_shifts_mm(beating)):
        place = filled_shape(scene.setup, beating, index=frame, ostium_mm=scene.ostium_mm(shift))
        found += projected_device(place, beating, implant, frame)
    return found


def ultrasound_device(panel: Panel, beating: BeatingAnatomy, implant: Implant) -> list[SeenTruth]:
    """Return the implant's truth in every frame of a plane that holds its axis.

    Raises
    ------
    ValueError
        If the implant leans out of the plane: its cut would not be its own width.
    """
    apart = (panel.plane_deg - implant.tilt_direction_deg) % 180.0
    if min(apart, 180.0 - apart) > 1e-9:
        raise ValueError(f"The implant leans out of the plane at {panel.plane_deg:g} degrees.")
    frames = range(len(beating.times_ms))
    return [
        one
        for frame in frames
        for one in (
            *_in_plane(panel, beating, implant, frame),
            *_beside(panel, beating, implant, frame),
        )
    ]


def _beside(
    panel: Panel, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[SeenTruth]:
    """Return the shortest ways from the drum to its neighbours and to the tip of the ridge."""
    ways = device_neighbours(beating.anatomy, panel.plane_deg).ways(implant)
    half = 0.5 * _chord_mm(panel, beating, frame, 0.0)
    ways["ridge_distance"] = implant.outline_mm()[1], np.array([half, 0.0])
    for quantity, ends in ways.items():
        yield SeenTruth(
            quantity=quantity,
            frame=frame,
            points_px=tuple(
                panel.to_px(float(x), panel.ostium_depth_mm + float(z)) for x, z in ends
            ),
            value=float(np.linalg.norm(ends[1] - ends[0])),
            unit="mm",
        )


def _in_plane(
    panel: Panel, beating: BeatingAnatomy, implant: Implant, frame: int
) -> Iterator[SeenTruth]:
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
    yield SeenTruth(
        quantity="axis_tilt", frame=frame, points_px=points, value=implant.tilt_deg, unit="deg"
    )
    covered = min(radius * float(np.cos(turn)) / half, 1.0)
    points = (*line, *px(face - radius * across, face + radius * across))
    yield SeenTruth(quantity="ostium_cover", frame=frame, points_px=points, value=covered, unit="1")
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


def _length(name: str, frame: int, points_px: tuple[PointPx, ...], value_mm: float) -> SeenTruth:
    return SeenTruth(quantity=name, frame=frame, points_px=points_px, value=value_mm, unit="mm")
