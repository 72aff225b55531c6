"""Straight and curved courses at one height, and exact chords of tubes along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.xray_view import XraySetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A straight or circular course at constant height.

    Attributes
    ----------
    start_mm, end_mm : tuple of float
        Ends (x, y) in view coordinates.
    height_mm : float
        Height above the isocentre, towards the source.
    bend_per_mm : float
        Signed curvature; 0 is straight.
    """

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    height_mm: float
    bend_per_mm: float = 0.0

    def _frame(self) -> tuple[FloatArray, FloatArray, float]:
        start, end = np.array(self.start_mm), np.array(self.end_mm)
        chord = float(np.hypot(*(end - start)))
        forward = (end - start) / chord
        return forward, np.array([-forward[1], forward[0]]), chord

    def length_mm(self) -> float:
        """Return the length along the course."""
        chord = self._frame()[2]
        if self.bend_per_mm == 0.0:
            return chord
        half = 0.5 * chord * abs(self.bend_per_mm)
        return 2.0 * float(np.arcsin(half)) / abs(self.bend_per_mm)

    def locate(self, points_mm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Express points (2, n) by the course.

        Returns
        -------
        tuple of ndarray
            Distance along the course (n,), signed distance beside it (n,), unit tangents (2, n).
        """
        forward, left, chord = self._frame()
        away = points_mm - np.array(self.start_mm)[:, np.newaxis]
        if self.bend_per_mm == 0.0:
            tangents = np.broadcast_to(forward[:, np.newaxis], points_mm.shape)
            return forward @ away, left @ away, np.asarray(tangents, dtype=float)
        radius = 1.0 / self.bend_per_mm
        height = np.sqrt(radius**2 - 0.25 * chord**2)
        centre = 0.5 * chord * forward + np.sign(radius) * height * left
        spoke = away - centre[:, np.newaxis]
        distance = np.sqrt((spoke**2).sum(axis=0))
        outward = spoke / np.maximum(distance, 1e-9)
        turn = np.sign(radius)
        tangents = turn * np.stack([-outward[1], outward[0]])
        first = -centre / abs(radius)
        angle = np.arctan2(
            first[0] * outward[1] - first[1] * outward[0],
            first[0] * outward[0] + first[1] * outward[1],
        )
        return turn * angle * abs(radius), turn * (abs(radius) - distance), tangents

    def point_mm(self, along_mm: float) -> FloatArray:
        """Return the place (x, y, h) at a distance along the course."""
        forward, left, chord = self._frame()
        start = np.array(self.start_mm)
        if self.bend_per_mm == 0.0:
            place = start + along_mm * forward
        else:
            radius = 1.0 / self.bend_per_mm
            lean = np.arcsin(0.5 * chord / radius)
            angle = along_mm / radius - lean
            place = (
                start
                + radius * (np.sin(angle) + np.sin(lean)) * forward
                + radius * (np.cos(lean) - np.cos(angle)) * left
            )
        return np.array([place[0], place[1], self.height_mm])

    def rays(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> CourseRays:
        """Express the rays through (row, column) pixels, shape (2, n), by the shifted course."""
        return CourseRays.through(self, setup, pixels, shift_mm)

    def samples_mm(self, count: int) -> FloatArray:
        """Return places from start to end, shape (count, 3)."""
        return np.array([self.point_mm(s) for s in np.linspace(0.0, self.length_mm(), count)])

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return a bound on the distance of points (n, 2) from the course, its ends included."""
        along, beside, _ = self.locate(points_mm.T)
        outside = np.maximum(np.maximum(-along, along - self.length_mm()), 0.0)
        return np.asarray(np.maximum(np.abs(beside), outside))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseRays:
    """Rays expressed by the straight line nearest to each: exact where the course is straight.

    Attributes
    ----------
    along, beside : ndarray, shape (n,)
        Where a ray passes the course's height: distance along the course and beside it, in mm.
    across, forward, rise : ndarray, shape (n,)
        The unit ray's components across the course, along it, and in height.
    """

    along: FloatArray
    beside: FloatArray
    across: FloatArray
    forward: FloatArray
    rise: FloatArray

    @classmethod
    def through(
        cls, path: Course, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray
    ) -> CourseRays:
        """Express the rays through (row, column) pixels, shape (2, n), by a shifted course."""
        rays = setup.rays(pixels[0], pixels[1])
        plane = setup.at_height(pixels.T, path.height_mm).T - shift_mm[:, np.newaxis]
        along, beside, tangent = path.locate(plane)
        return cls(
            along=along,
            beside=beside,
            across=rays[1] * tangent[0] - rays[0] * tangent[1],
            forward=rays[0] * tangent[0] + rays[1] * tangent[1],
            rise=rays[2],
        )

    def _half(self, radius_mm: float, offset_mm: tuple[float, float]) -> tuple[FloatArray, ...]:
        flat = self.across**2 + self.rise**2
        gap = ((self.beside - offset_mm[0]) * self.rise + offset_mm[1] * self.across) ** 2 / flat
        return np.sqrt(np.maximum(radius_mm**2 - gap, 0.0) / flat), flat

    def chord(self, radius_mm: float, *, offset_mm: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
        """Length of each ray inside an endless cylinder about (an offset from) the course."""
        return np.asarray(2.0 * self._half(radius_mm, offset_mm)[0])

    def chord_between(self, radius_mm: float, limits_mm: tuple[float, float]) -> FloatArray:
        """Length inside a cylinder cut by two planes across the course."""
        half, flat = self._half(radius_mm, (0.0, 0.0))
        middle = -self.beside * self.across / flat
        slope = np.where(np.abs(self.forward) < 1e-12, 1e-12, self.forward)
        first, second = ((limit - self.along) / slope for limit in limits_mm)
        low = np.maximum(middle - half, np.minimum(first, second))
        high = np.minimum(middle + half, np.maximum(first, second))
        return np.asarray(np.maximum(0.0, high - low))
