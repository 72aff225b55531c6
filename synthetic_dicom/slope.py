"""A straight course that rises towards the source: what foreshortening does to an object on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.course import CourseRays
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.xray_view import XraySetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A straight course between two places at different heights.

    Attributes
    ----------
    start_mm, end_mm : tuple of float
        Ends (x, y, h) in view coordinates.
    """

    start_mm: tuple[float, float, float]
    end_mm: tuple[float, float, float]

    @property
    def height_mm(self) -> float:
        """Height of the middle above the isocentre, towards the source."""
        return 0.5 * (self.start_mm[2] + self.end_mm[2])

    @property
    def tilt_deg(self) -> float:
        """Angle between the course and the detector's plane."""
        return float(np.rad2deg(np.arcsin(abs(self._forward()[2]))))

    def length_mm(self) -> float:
        """Return the length along the course."""
        return float(np.linalg.norm(np.subtract(self.end_mm, self.start_mm)))

    def point_mm(self, along_mm: float) -> FloatArray:
        """Return the place (x, y, h) at a distance along the course."""
        return np.asarray(np.array(self.start_mm) + along_mm * self._forward())

    def samples_mm(self, count: int) -> FloatArray:
        """Return places from start to end, shape (count, 3)."""
        return np.linspace(self.start_mm, self.end_mm, count)

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return a bound on the distance of points (n, 2) from the course seen along the beam.

        Points at the middle's height stand for what is higher or lower: they are moved apart by
        less than this share of the rise, in views that magnify as real ones do.
        """
        start, end = np.array(self.start_mm[:2]), np.array(self.end_mm[:2])
        forward = (end - start) / np.hypot(*(end - start))
        away = points_mm - start
        along = away @ forward
        beside = away @ np.array([-forward[1], forward[0]])
        over = np.maximum(np.maximum(-along, along - np.hypot(*(end - start))), 0.0)
        slack = 0.2 * abs(self.end_mm[2] - self.start_mm[2])
        return np.asarray(np.maximum(np.hypot(beside, over) - slack, 0.0))

    def rays(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> CourseRays:
        """Express the rays through (row, column) pixels, shape (2, n), by the shifted course.

        In axes that lie along the course, beside it, and square to both, a rise is no longer
        special; a ray passes the plane of the first two where the third is zero.
        """
        rays = setup.rays(pixels[0], pixels[1])
        forward = self._forward()
        beside = np.array([-forward[1], forward[0], 0.0]) / np.hypot(*forward[:2])
        axes = np.array([forward, beside, np.cross(forward, beside)])
        source = setup.source_mm() - np.array(self.start_mm) - np.append(shift_mm, 0.0)
        turned, origin = axes @ rays, axes @ source
        passing = -origin[2] / turned[2]
        return CourseRays(
            along=origin[0] + passing * turned[0],
            beside=origin[1] + passing * turned[1],
            across=turned[1],
            forward=turned[0],
            rise=turned[2],
        )

    def _forward(self) -> FloatArray:
        away = np.subtract(self.end_mm, self.start_mm)
        return np.asarray(away / np.linalg.norm(away))
