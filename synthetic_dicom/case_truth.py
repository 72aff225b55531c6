"""The truth of a case, known before anything is rendered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from synthetic_dicom.case import Case, Identity
from synthetic_dicom.device_truth import ultrasound_device, xray_device
from synthetic_dicom.landmark_truth import derived_of, landmarks_of, views_of_places
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import (
    AnatomyTruth,
    CaliperTruth,
    LandmarkTruth,
    ObjectTruth,
    Pair,
    SeenTruth,
    Truth,
    UltrasoundGeometryTruth,
    XrayGeometryTruth,
)
from synthetic_dicom.ultrasound_truth import section_contours, ultrasound_calipers
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.xray_image import XrayScene, opacification
from synthetic_dicom.xray_truth import xray_calipers, xray_objects


def truth_of(
    case: Case, *, seed: int = 1, frames: int | None = None, encoding: str = "explicit"
) -> Truth:
    """Return what is true of the file that the same arguments write, without rendering it.

    Parameters
    ----------
    case : Case
        The loop.
    seed : int
        0 or more.
    frames : int, optional
        Length; the case's own if left out.
    encoding : str
        Part of the file's identity.
    """
    count = case.length(frames)
    beating = case.beating(seed=seed, frames=count)
    identity = Identity(case=case.name, seed=seed, frames=count, encoding=encoding)
    scene = case.scene
    objects: tuple[ObjectTruth, ...] = ()
    if isinstance(scene, Screen):
        calipers: tuple[CaliperTruth, ...] = tuple(
            caliper for panel in scene.panels for caliper in ultrasound_calipers(panel, beating)
        )
    else:
        objects = xray_objects(scene, beating)
        calipers = () if scene.phantom else xray_calipers(scene, beating)
    landmarks, derived = _from_places(scene, beating, calipers)
    truth = Truth(
        case=case.name,
        file=f"{case.name}.dcm",
        sop_instance_uid=identity.uid("instance"),
        modality=case.modality(),
        seed=seed,
        rows=scene.rows if isinstance(scene, Screen) else scene.setup.rows,
        columns=scene.columns if isinstance(scene, Screen) else scene.setup.columns,
        frame_times_ms=beating.times_ms,
        r_wave_times_ms=beating.motion.visible_r_waves_ms(beating.times_ms[-1]),
        geometry=_geometry(scene),
        anatomy=_anatomy_truth(scene, beating),
        objects=objects,
        calipers=calipers,
        largest_frame=0,
        image=_image(scene, beating),
        landmarks=landmarks,
        device=_device(scene, beating),
        derived=derived,
    )
    if derived and not calipers:
        areas = [one.value for one in derived if one.unit == "mm2"]
        return replace(truth, largest_frame=int(np.argmax(areas)))
    if not calipers:
        return truth
    widths = [truth.caliper("ostium_width", index).value_mm for index in range(count)]
    return replace(truth, largest_frame=int(np.argmax(widths)))


def _from_places(
    scene: XrayScene | Screen, beating: BeatingAnatomy, calipers: tuple[CaliperTruth, ...]
) -> tuple[tuple[LandmarkTruth, ...], tuple[SeenTruth, ...]]:
    """Return landmarks and the numbers between them; of two planes on a screen, the first's."""
    if not calipers:
        return (), _contours(scene, beating)
    shown = scene.panels[0] if isinstance(scene, Screen) else scene
    ostia = {one.frame: one for one in reversed(calipers) if one.quantity == "ostium_width"}
    landmarks: list[LandmarkTruth] = []
    derived: list[SeenTruth] = []
    for frame, seen in views_of_places(shown, beating):
        landmarks += landmarks_of(seen, ostia[frame], frame)
        derived += derived_of(seen, ostia[frame], frame)
    return tuple(landmarks), tuple(derived)


def _contours(scene: XrayScene | Screen, beating: BeatingAnatomy) -> tuple[SeenTruth, ...]:
    """Return the sections' contours where a plane lies square to the neck."""
    if not isinstance(scene, Screen) or scene.panels[0].square_mm is None:
        return ()
    panel = scene.panels[0]
    quantity = "ostium" if scene.panels[0].square_mm < 1.0 else "landing_zone"
    return tuple(section_contours(panel, beating, quantity))


def _device(scene: XrayScene | Screen, beating: BeatingAnatomy) -> tuple[SeenTruth, ...]:
    if scene.implant is None:
        return ()
    if isinstance(scene, Screen):
        return tuple(ultrasound_device(scene.panels[0], beating, scene.implant))
    return tuple(xray_device(scene, beating, scene.implant))


def _geometry(scene: XrayScene | Screen) -> XrayGeometryTruth | UltrasoundGeometryTruth:
    if isinstance(scene, Screen):
        panel = scene.panels[0]
        return UltrasoundGeometryTruth(
            plane_deg=panel.plane_deg,
            mm_per_px=panel.mm_per_px,
            region=panel.region,
            apex_px=panel.apex_px,
            header_region=panel.declared_region if scene.declares_regions else None,
        )
    setup = scene.setup
    return XrayGeometryTruth(
        sid_mm=setup.sid_mm,
        sod_mm=setup.sod_mm,
        imager_spacing_mm=setup.spacing_mm,
        primary_deg=setup.primary_deg,
        secondary_deg=setup.secondary_deg,
    )


def _image(scene: XrayScene | Screen, beating: BeatingAnatomy) -> dict[str, float]:
    """Return what the recording did to the picture, and which frames are well filled."""
    if isinstance(scene, Screen):
        return {}
    exposure = scene.exposure
    recorded = {
        "blur_sigma_px": exposure.blur_sigma_px,
        "veil": exposure.veil * exposure.full_scale,
    }
    if scene.phantom:
        return recorded
    filled = np.flatnonzero(opacification(np.array(beating.times_ms)) > 0.9)
    return {
        **recorded,
        "first_filled_frame": int(filled[0]),
        "last_filled_frame": int(filled[-1]),
    }


def _anatomy_truth(scene: XrayScene | Screen, beating: BeatingAnatomy) -> AnatomyTruth:
    height_mm: float | None = None
    if isinstance(scene, Screen):
        scale: Pair = scene.panels[0].mm_per_px
    else:
        height_mm = float(scene.ostium_mm(np.zeros(2))[2])
        scale = scene.setup.mm_per_px(height_mm)
    lengths = np.linalg.norm(beating.tips_mm(), axis=1)
    return AnatomyTruth(
        ostium_axes_mm=tuple((float(a), float(b)) for a, b in beating.ostium_axes_mm()),
        landing_zone_axes_mm=tuple((float(a), float(b)) for a, b in beating.landing_zone_axes_mm()),
        orientation_deg=beating.anatomy.orientation_deg,
        depth_mm=tuple(float(length) for length in lengths),
        landing_zone_from_ostium_mm=tuple(float(depth) for depth in beating.landing_depths_mm()),
        bend_deg=beating.anatomy.bend_deg,
        depth_h_mm=height_mm,
        mm_per_px=scale,
    )
