"""From a case to frames, header and truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from synthetic_dicom.case import ULTRASOUND_FRAME_MS, XRAY_FRAME_MS, Case, Identity
from synthetic_dicom.case_truth import truth_of
from synthetic_dicom.headers import capture_header, ultrasound_header, xray_header
from synthetic_dicom.truth import Truth
from synthetic_dicom.ultrasound_screen import render_screen
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.xray_image import render_xray


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
    truth = truth_of(case, seed=seed, frames=frames, encoding=encoding)
    count = len(truth.frame_times_ms)
    identity = Identity(case=case.name, seed=seed, frames=count, encoding=encoding)
    beating = case.beating(seed=seed, frames=count)
    pixels: NDArray[Any]
    if isinstance(case.scene, Screen):
        pixels = render_screen(case.scene, beating, seed=seed)
    else:
        pixels = render_xray(case.scene, beating, seed=seed)
    if case.capture:
        pixels = (pixels >> 4).astype(np.uint8)
    return Rendering(frames=pixels, header=_header(case, identity, truth), truth=truth)


def _header(case: Case, identity: Identity, truth: Truth) -> Dataset:
    if case.capture:
        return capture_header(identity, frame_time_ms=XRAY_FRAME_MS if case.frames > 1 else None)
    if isinstance(case.scene, Screen):
        return ultrasound_header(
            identity,
            case.scene,
            frame_time_ms=ULTRASOUND_FRAME_MS,
            r_waves_ms=truth.r_wave_times_ms,
        )
    return xray_header(
        identity,
        case.scene.setup,
        frame_time_ms=XRAY_FRAME_MS,
        with_geometry=case.with_geometry,
    )
