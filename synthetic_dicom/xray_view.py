"""A point source, a detector and the patient between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class XraySetup:
    """One X-ray view.

    View coordinates are (x, y, h) in mm from the isocentre: x along the columns, y down the rows,
    h along the central ray towards the source.

    Attributes
    ----------
    sid_mm, sod_mm : float
        Source to detector and source to isocentre.
    spacing_mm : tuple of float
        Pixel spacing (row, column) at the detector.
    primary_deg, secondary_deg : float
        Positioner angles: left-anterior and cranial are positive.
    rows, columns : int
        Size of the image; its centre lies on the central ray.
    """

    sid_mm: float = 1040.0
    sod_mm: float = 750.0
    spacing_mm: tuple[float, float] = (0.23, 0.23)
    primary_deg: float = -25.0
    secondary_deg: float = 15.0
    rows: int = 512
    columns: int = 512

    def axes(self) -> FloatArray:
        """Return rows x, y, h in patient axes (left, back, head): right-handed, shape (3, 3)."""
        primary, secondary = np.deg2rad([self.primary_deg, self.secondary_deg])
        receptor = np.array(
            [
                np.sin(primary) * np.cos(secondary),
                -np.cos(primary) * np.cos(secondary),
                np.sin(secondary),
            ]
        )
        across = np.array([np.cos(primary), np.sin(primary), 0.0])
        return np.array([across, np.cross(across, receptor), -receptor])

    def mm_per_px(self, height_mm: float) -> tuple[float, float]:
        """Return mm per pixel (row, column) for what lies at a height above the isocentre."""
        shrink = (self.sod_mm - height_mm) / self.sid_mm
        return self.spacing_mm[0] * shrink, self.spacing_mm[1] * shrink

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Project view coordinates, shape (..., 3), to (row, column), shape (..., 2)."""
        points = np.asarray(points_mm, dtype=float)
        magnification = self.sid_mm / (self.sod_mm - points[..., 2])
        row = points[..., 1] * magnification / self.spacing_mm[0] + 0.5 * (self.rows - 1)
        column = points[..., 0] * magnification / self.spacing_mm[1] + 0.5 * (self.columns - 1)
        return np.stack([row, column], axis=-1)

    def at_height(self, points_px: FloatArray, height_mm: float) -> FloatArray:
        """Return the view coordinates (x, y), shape (..., 2), of pixels at a given height."""
        points = np.asarray(points_px, dtype=float)
        row_mm, column_mm = self.mm_per_px(height_mm)
        return np.stack(
            [
                (points[..., 1] - 0.5 * (self.columns - 1)) * column_mm,
                (points[..., 0] - 0.5 * (self.rows - 1)) * row_mm,
            ],
            axis=-1,
        )

    def source_mm(self) -> FloatArray:
        """Return the source in view coordinates."""
        return np.array([0.0, 0.0, self.sod_mm])

    def rays(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return unit vectors from the source to pixels, shape (3, n)."""
        across = (columns - 0.5 * (self.columns - 1)) * self.spacing_mm[1]
        down = (rows - 0.5 * (self.rows - 1)) * self.spacing_mm[0]
        away = np.full_like(across, -self.sid_mm)
        vectors = np.stack([across, down, away])
        return np.asarray(vectors / np.sqrt((vectors**2).sum(axis=0)))
