"""Objects of known size in an X-ray view: catheters, marker bands, a sphere and phantoms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.course import Course
from synthetic_dicom.phantoms import BeadGrid, StepPlate, WireGrid
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.slope import Slope
from synthetic_dicom.xray_view import XraySetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Catheter:
    """A tube: its wall attenuates, its lumen does when it is filled with contrast.

    Attenuations are per mm; lengths in mm. The stripe is a thread in the wall.
    """

    id: str
    path: Course
    outer_mm: float = 2.0
    inner_mm: float = 1.4
    filled: bool = False
    stripe: bool = False
    wall_per_mm: float = 0.70
    contrast_per_mm: float = 0.55
    stripe_per_mm: float = 1.1

    def height_mm(self) -> float:
        """Return the height above the isocentre, towards the source."""
        return self.path.height_mm

    def reach_mm(self) -> float:
        """Return the largest distance from the axis that attenuates."""
        return 0.5 * self.outer_mm

    def outline_mm(self) -> FloatArray:
        """Return places along the axis, shape (n, 3), in view coordinates."""
        return self.path.samples_mm(33)

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return how far points (n, 2) at the object's height are from its axis."""
        return self.path.distance_mm(points_mm)

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the exact ray sums at (row, column) pixels of shape (2, n)."""
        rays = self.path.rays(setup, pixels, shift_mm)
        outer = rays.chord(0.5 * self.outer_mm)
        inner = rays.chord(0.5 * self.inner_mm)
        total = self.wall_per_mm * (outer - inner)
        if self.filled:
            total = total + self.contrast_per_mm * inner
        if self.stripe:
            middle = 0.25 * (self.outer_mm + self.inner_mm)
            offset = (0.8 * middle, 0.6 * middle)
            total = total + self.stripe_per_mm * rays.chord(0.13, offset_mm=offset)
        inside = (rays.along >= 0.0) & (rays.along <= self.path.length_mm())
        return np.where(inside, total, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerBands:
    """Metal rings on a thin shaft, centre to centre at a known spacing.

    `missing` counts from 0 the bands of the row that are not there; `off_mm` is by how much each
    band of the row sits off its regular place, where it does.
    """

    id: str
    path: Course | Slope
    spacing_mm: float = 10.0
    first_mm: float = 14.0
    count: int = 4
    outer_mm: float = 1.9
    inner_mm: float = 1.65
    length_mm: float = 1.2
    band_per_mm: float = 1.6
    shaft_per_mm: float = 0.10
    missing: tuple[int, ...] = ()
    off_mm: tuple[float, ...] = ()

    def height_mm(self) -> float:
        """Return the height above the isocentre, towards the source."""
        return self.path.height_mm

    def reach_mm(self) -> float:
        """Return the largest distance from the axis that attenuates."""
        return 0.5 * self.outer_mm

    def outline_mm(self) -> FloatArray:
        """Return places along the axis, shape (n, 3), in view coordinates."""
        return self.path.samples_mm(33)

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return how far points (n, 2) at the object's height are from its axis."""
        return self.path.distance_mm(points_mm)

    def centres_mm(self) -> tuple[float, ...]:
        """Return the band centres as distances along the course."""
        return tuple(
            self.first_mm + index * self.spacing_mm + (self.off_mm[index] if self.off_mm else 0.0)
            for index in range(self.count)
            if index not in self.missing
        )

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the exact ray sums at (row, column) pixels of shape (2, n)."""
        rays = self.path.rays(setup, pixels, shift_mm)
        inside = (rays.along >= 0.0) & (rays.along <= self.path.length_mm())
        total = np.where(inside, self.shaft_per_mm * rays.chord(0.5 * self.inner_mm), 0.0)
        for centre in self.centres_mm():
            limits = (centre - 0.5 * self.length_mm, centre + 0.5 * self.length_mm)
            outer = rays.chord_between(0.5 * self.outer_mm, limits)
            inner = rays.chord_between(0.5 * self.inner_mm, limits)
            total = total + self.band_per_mm * (outer - inner)
        return np.asarray(total, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sphere:
    """A metal ball; ``centre_mm`` is (x, y, h) in view coordinates."""

    id: str
    centre_mm: tuple[float, float, float]
    diameter_mm: float = 10.0
    ball_per_mm: float = 0.16

    def height_mm(self) -> float:
        """Return the centre's height above the isocentre, towards the source."""
        return self.centre_mm[2]

    def reach_mm(self) -> float:
        """Return the radius, and what an oblique ray adds to it."""
        return 0.505 * self.diameter_mm

    def outline_mm(self) -> FloatArray:
        """Return the centre, shape (1, 3), in view coordinates."""
        return np.array([self.centre_mm])

    def distance_mm(self, points_mm: FloatArray) -> FloatArray:
        """Return how far points (n, 2) at the centre's height are from the centre."""
        away = points_mm - np.array(self.centre_mm[:2])
        return np.asarray(np.hypot(away[:, 0], away[:, 1]))

    def attenuation(self, setup: XraySetup, pixels: FloatArray, shift_mm: FloatArray) -> FloatArray:
        """Return the exact ray sums at (row, column) pixels of shape (2, n)."""
        rays = setup.rays(pixels[0], pixels[1])
        away = np.array(self.centre_mm) - setup.source_mm()
        away[:2] += shift_mm
        nearest = away @ rays
        gap = away @ away - nearest**2
        return self.ball_per_mm * 2.0 * np.sqrt(np.maximum(0.25 * self.diameter_mm**2 - gap, 0.0))


ReferenceObject = Catheter | MarkerBands | Sphere | WireGrid | BeadGrid | StepPlate
