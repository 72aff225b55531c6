"""Where ultrasound planes, the trace of the electrocardiogram and their regions lie on a screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.implant import Implant
from synthetic_dicom.quadrics import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One sector: a plane through the beam's axis, which runs along the neck.

    Attributes
    ----------
    plane_deg : float
        Multiplane angle: direction of the image's columns in the cross-section.
    region : tuple of int
        x0, y0, x1, y1 of the picture, inclusive.
    apex_px : tuple of float
        Where the sector starts (row, column).
    mm_per_px : tuple of float
        Scale (row, column).
    depth_mm : float
        How far the sector reaches.
    half_angle_deg : float
        Half of the sector's opening.
    ostium_depth_mm : float
        Distance of the ostium's centre from the apex.
    declared_region : tuple of int
        The region the header declares; wrong on purpose in some cases.
    declared_delta_cm : tuple of float
        Spacing (x, y) the header declares, in cm per pixel.
    square_mm : float or None
        Of a plane square to the neck, as cut from a volume: how far inside the ostium it lies. Its
        columns then run along `plane_deg`, its rows a right angle further. None for a plane along
        the neck.
    """

    plane_deg: float
    region: tuple[int, int, int, int]
    apex_px: tuple[float, float]
    mm_per_px: tuple[float, float]
    depth_mm: float
    half_angle_deg: float = 42.0
    ostium_depth_mm: float = 38.0
    declared_region: tuple[int, int, int, int]
    declared_delta_cm: tuple[float, float]
    square_mm: float | None = None

    def to_px(self, lateral_mm: float, axial_mm: float) -> tuple[float, float]:
        """Return the pixel (row, column) of a place in the plane."""
        return (
            self.apex_px[0] + axial_mm / self.mm_per_px[0],
            self.apex_px[1] + lateral_mm / self.mm_per_px[1],
        )

    def pixel_grid_mm(self) -> tuple[FloatArray, FloatArray]:
        """Return lateral and axial mm of the region's pixel centres, each (rows, columns)."""
        left, top, right, bottom = self.region
        rows, columns = np.mgrid[top : bottom + 1, left : right + 1].astype(float)
        return (
            (columns - self.apex_px[1]) * self.mm_per_px[1],
            (rows - self.apex_px[0]) * self.mm_per_px[0],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """A whole ultrasound image: one or two sectors and the trace below."""

    rows: int
    columns: int
    panels: tuple[Panel, ...]
    trace_region: tuple[int, int, int, int]
    trace_s_per_px: float = 0.005
    colour: bool = True
    declares_regions: bool = True
    implant: Implant | None = None
