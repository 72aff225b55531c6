"""One picture as a DICOM file with a header of its own, for cases that are no named loop."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from synthetic_dicom.case import ULTRASOUND_FRAME_MS, XRAY_FRAME_MS, Identity
from synthetic_dicom.encode import put_pixels
from synthetic_dicom.headers import ultrasound_header, xray_header
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.xray_view import XraySetup


def write_xray_picture(
    frame: NDArray[np.uint16], setup: XraySetup, path: Path, *, seed: int, relation: str = "LIN"
) -> Path:
    """Write one X-ray frame (rows, columns) whose view the header states in full.

    Parameters
    ----------
    frame : ndarray of uint16, shape (rows, columns)
    setup : XraySetup
        The view; its size is that of the frame.
    path : Path
        Its stem names the case.
    seed : int
        Of the identifiers.
    relation : str
        What the header says of stored value and intensity: LIN or LOG.
    """
    header = xray_header(
        _identity(path, seed), setup, frame_time_ms=XRAY_FRAME_MS, with_geometry=True
    )
    header.PixelIntensityRelationship = relation
    return _saved(header, frame[np.newaxis], path)


def write_ultrasound_picture(
    frame: NDArray[np.uint8], screen: Screen, path: Path, *, seed: int
) -> Path:
    """Write one ultrasound frame (rows, columns) with the regions of a screen."""
    header = ultrasound_header(
        _identity(path, seed), screen, frame_time_ms=ULTRASOUND_FRAME_MS, r_waves_ms=()
    )
    return _saved(header, frame[np.newaxis], path)


def _identity(path: Path, seed: int) -> Identity:
    return Identity(case=path.stem, seed=seed, frames=1, encoding="explicit")


def _saved(header: Dataset, frames: NDArray[Any], path: Path) -> Path:
    put_pixels(header, frames, encoding="explicit")
    header.save_as(path, enforce_file_format=True)
    return path
