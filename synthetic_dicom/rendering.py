"""From a case to frames, header and truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from synthetic_dicom.headers import Identity, capture_header, ultrasound_header, xray_header
from synthetic_dicom.scene import BeatingAnatomy, beating_anatomy
from synthetic_dicom.truth import (
    AnatomyTruth,
    Pair,
    Truth,
    UltrasoundGeometryTruth,
    XrayGeometryTruth,
)
from synthetic_dicom.ultrasound_screen import render_screen
from synthetic_dicom.ultrasound_truth import ultrasound_calipers
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.xray_image import XrayScene, render_xray
from synthetic_dicom.xray_truth import xray_calipers, xray_objects

XRAY_FRAME_MS = 66.667
ULTRASOUND_FRAME_MS = 33.333


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A named loop.

    Attributes
    ----------
    name, description : str
        What it is called and what it is for.
    scene : XrayScene or Screen
        What is rendered.
    frames : int
        Length unless asked otherwise.
    with_geometry : bool
        X-ray only: write detector spacing and distances.
    capture : bool
        Store the picture as a screen capture without any scale.
    """

    name: str
    description: str
    scene: XrayScene | Screen
    frames: int
    with_geometry: bool = True
    capture: bool = False

    def increments_ms(self, frames: int) -> tuple[float, ...]:
        """Return the time of each frame from the one before; the first is 0."""
        step = XRAY_FRAME_MS if isinstance(self.scene, XrayScene) else ULTRASOUND_FRAME_MS
        return (0.0,) + (step,) * (frames - 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rendering:
    """Everything a case becomes before it is written; the header has no pixels yet."""

    frames: NDArray[Any]
    header: Dataset
    truth: Truth


def render(case: Case, *, seed: int, frames: int | None, encoding: str) -> Rendering:
    """Render a case.

    Parameters
    ----------
    case : Case
        What to render.
    seed : int
        Of anatomy, motion, texture and noise; 0 or more.
    frames : int or None
        Length; the case's own if ``None``.
    encoding : str
        Part of the file's identity only: it is applied later.
    """
    count = case.frames if frames is None else frames
    if count < 1 or seed < 0:
        raise ValueError(f"{case.name}: ask for 1 frame or more and a seed of 0 or more.")
    if case.frames == 1 and count != 1:
        raise ValueError(f"{case.name} is a single image: ask for 1 frame.")
    steps = case.increments_ms(count)
    beating = beating_anatomy(seed, tuple(float(time) for time in np.cumsum(steps).round(6)))
    identity = Identity(case=case.name, seed=seed, frames=count, encoding=encoding)
    if isinstance(case.scene, Screen):
        return _render_ultrasound(case.scene, identity, beating)
    return _render_xray(case, case.scene, identity, beating)


def _render_xray(
    case: Case, scene: XrayScene, identity: Identity, beating: BeatingAnatomy
) -> Rendering:
    frames: NDArray[Any] = render_xray(scene, beating, seed=identity.seed)
    setup = scene.setup
    header = xray_header(
        identity, setup, frame_time_ms=XRAY_FRAME_MS, with_geometry=case.with_geometry
    )
    if case.capture:
        frames = (frames >> 4).astype(np.uint8)
        header = capture_header(identity, frame_time_ms=XRAY_FRAME_MS if case.frames > 1 else None)
    height = float(scene.ostium_mm(np.zeros(2))[2])
    truth = Truth(
        case=identity.case,
        file=f"{identity.case}.dcm",
        sop_instance_uid=str(header.SOPInstanceUID),
        modality=str(header.Modality),
        seed=identity.seed,
        rows=setup.rows,
        columns=setup.columns,
        frame_times_ms=beating.times_ms,
        r_wave_times_ms=beating.motion.visible_r_waves_ms(beating.times_ms[-1]),
        geometry=XrayGeometryTruth(
            sid_mm=setup.sid_mm,
            sod_mm=setup.sod_mm,
            imager_spacing_mm=setup.spacing_mm,
            primary_deg=setup.primary_deg,
            secondary_deg=setup.secondary_deg,
        ),
        anatomy=_anatomy_truth(beating, height, setup.mm_per_px(height)),
        objects=xray_objects(scene, beating),
        calipers=xray_calipers(scene, beating),
        largest_frame=0,
        image={
            "blur_sigma_px": scene.exposure.blur_sigma_px,
            "veil": scene.exposure.veil * scene.exposure.full_scale,
        },
    )
    return Rendering(frames=frames, header=header, truth=_with_largest_frame(truth))


def _render_ultrasound(screen: Screen, identity: Identity, beating: BeatingAnatomy) -> Rendering:
    waves = beating.motion.visible_r_waves_ms(beating.times_ms[-1])
    steps = (0.0, *(float(step) for step in np.diff(beating.times_ms).round(6)))
    header = ultrasound_header(identity, screen, increments_ms=steps, r_waves_ms=waves)
    panel = screen.panels[0]
    calipers = tuple(
        caliper for shown in screen.panels for caliper in ultrasound_calipers(shown, beating)
    )
    truth = Truth(
        case=identity.case,
        file=f"{identity.case}.dcm",
        sop_instance_uid=str(header.SOPInstanceUID),
        modality="US",
        seed=identity.seed,
        rows=screen.rows,
        columns=screen.columns,
        frame_times_ms=beating.times_ms,
        r_wave_times_ms=waves,
        geometry=UltrasoundGeometryTruth(
            plane_deg=panel.plane_deg,
            mm_per_px=panel.mm_per_px,
            region=panel.region,
            apex_px=panel.apex_px,
            header_region=panel.declared_region if screen.declares_regions else None,
        ),
        anatomy=_anatomy_truth(beating, None, panel.mm_per_px),
        objects=(),
        calipers=calipers,
        largest_frame=0,
    )
    frames = render_screen(screen, beating, seed=identity.seed)
    return Rendering(frames=frames, header=header, truth=_with_largest_frame(truth))


def _anatomy_truth(
    beating: BeatingAnatomy, height_mm: float | None, mm_per_px: Pair
) -> AnatomyTruth:
    lengths = np.linalg.norm(beating.tips_mm(), axis=1)
    return AnatomyTruth(
        ostium_axes_mm=tuple((float(a), float(b)) for a, b in beating.ostium_axes_mm()),
        landing_zone_axes_mm=tuple((float(a), float(b)) for a, b in beating.landing_zone_axes_mm()),
        orientation_deg=beating.anatomy.orientation_deg,
        depth_mm=tuple(float(length) for length in lengths),
        landing_zone_from_ostium_mm=tuple(float(depth) for depth in beating.landing_depths_mm()),
        bend_deg=beating.anatomy.bend_deg,
        depth_h_mm=height_mm,
        mm_per_px=mm_per_px,
    )


def _with_largest_frame(truth: Truth) -> Truth:
    """Return the truth with the frame of the largest ostium width filled in."""
    widths = [truth.caliper("ostium_width", n).value_mm for n in range(len(truth.frame_times_ms))]
    return replace(truth, largest_frame=int(np.argmax(widths)))
