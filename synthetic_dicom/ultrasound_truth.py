"""What is true in an ultrasound plane: chords of the cross-sections and the depth."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import CaliperTruth
from synthetic_dicom.ultrasound_view import Panel


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
    """Return ostium width, landing-zone width and depth for every frame of one plane."""
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
