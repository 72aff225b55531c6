"""What is true in an ultrasound plane: chords of the cross-sections and the depth."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import CaliperTruth, SeenTruth
from synthetic_dicom.ultrasound_view import Panel

_VERTICES = 24


def central_chord_mm(axes_mm: FloatArray, off_major_deg: float) -> float:
    """Return the central chord of an ellipse at an angle from its major axis.

    Parameters
    ----------
    axes_mm : ndarray, shape (2,)
        Full axes.
    off_major_deg : float
        Angle between chord and major axis.
    """
    angle = np.deg2rad(off_major_deg)
    return float(1.0 / np.hypot(np.cos(angle) / axes_mm[0], np.sin(angle) / axes_mm[1]))


def ultrasound_calipers(panel: Panel, beating: BeatingAnatomy) -> tuple[CaliperTruth, ...]:
    """Return ostium width, landing-zone width and depth for every frame of one plane.

    A plane square to the neck shows none of them.
    """
    if panel.square_mm is not None:
        return ()
    ostium, landing = beating.ostium_axes_mm(), beating.landing_zone_axes_mm()
    depths, tips = beating.landing_depths_mm(), beating.tips_mm()
    calipers = []
    for index in range(len(beating.times_ms)):
        calipers += [
            _chord_caliper(panel, beating, ostium[index], ("ostium_width", index, 0.0)),
            _chord_caliper(
                panel, beating, landing[index], ("landing_zone_width", index, float(depths[index]))
            ),
            _depth_caliper(panel, beating, tips[index], index),
        ]
    return tuple(calipers)


def _chord_caliper(
    panel: Panel, beating: BeatingAnatomy, axes_mm: FloatArray, name: tuple[str, int, float]
) -> CaliperTruth:
    quantity, frame, depth_mm = name
    chord = central_chord_mm(axes_mm, panel.plane_deg - beating.anatomy.orientation_deg)
    axial = panel.ostium_depth_mm + depth_mm
    return CaliperTruth(
        quantity=quantity,
        frame=frame,
        points_px=(panel.to_px(-0.5 * chord, axial), panel.to_px(0.5 * chord, axial)),
        value_mm=chord,
        view_deg=panel.plane_deg % 180.0,
        foreshortening_deg=0.0,
        mm_per_px=panel.mm_per_px,
    )


def _depth_caliper(
    panel: Panel, beating: BeatingAnatomy, tip_mm: FloatArray, frame: int
) -> CaliperTruth:
    lateral = float(tip_mm @ beating.anatomy.in_frame(panel.plane_deg))
    length = float(np.linalg.norm(tip_mm))
    seen = float(np.hypot(lateral, tip_mm[2]))
    return CaliperTruth(
        quantity="depth",
        frame=frame,
        points_px=(
            panel.to_px(0.0, panel.ostium_depth_mm),
            panel.to_px(lateral, panel.ostium_depth_mm + float(tip_mm[2])),
        ),
        value_mm=length,
        view_deg=None,
        foreshortening_deg=float(np.rad2deg(np.arccos(min(1.0, seen / length)))),
        mm_per_px=panel.mm_per_px,
    )


def section_contours(panel: Panel, beating: BeatingAnatomy, quantity: str) -> list[SeenTruth]:
    """Return area, perimeter and both derived diameters of the neck's section, frame by frame.

    The section is an ellipse; its perimeter is the complete elliptic integral of the second kind.
    """
    from scipy.special import ellipe

    assert panel.square_mm is not None
    found: list[SeenTruth] = []
    turns = np.linspace(0.0, 2.0 * np.pi, _VERTICES, endpoint=False)
    sides = [beating.anatomy.in_frame(panel.plane_deg + more)[:2] for more in (0.0, 90.0)]
    for frame, stretch in enumerate(beating.stretches()):
        axes = stretch[:2] * beating.anatomy.section_axes_mm(panel.square_mm / float(stretch[2]))
        rim = 0.5 * axes * np.stack([np.cos(turns), np.sin(turns)], axis=1)
        area = float(0.25 * np.pi * axes.prod())
        longest, shortest = float(axes.max()), float(axes.min())
        perimeter = 2.0 * longest * float(ellipe(1.0 - (shortest / longest) ** 2))
        values = {
            "area": (area, "mm2"),
            "perimeter": (perimeter, "mm"),
            "area_diameter": (2.0 * float(np.sqrt(area / np.pi)), "mm"),
            "perimeter_diameter": (perimeter / np.pi, "mm"),
        }
        points = tuple(
            panel.to_px(float(at @ sides[0]), panel.ostium_depth_mm + float(at @ sides[1]))
            for at in rim
        )
        found += [
            SeenTruth(
                quantity=f"{quantity}_{form}",
                frame=frame,
                points_px=points,
                value=value,
                unit=unit,
            )
            for form, (value, unit) in values.items()
        ]
    return found
