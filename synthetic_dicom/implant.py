"""An invented implant: a thin-walled drum that sits tilted in the neck, its face in the atrium."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.anatomy import Anatomy
from synthetic_dicom.quadrics import FloatArray, Quadric, ray_interval

# where a width is taken, as a share of the length from the face inwards
PLACES = (("device_face_width", 0.0), ("device_shoulder_width", 0.5), ("device_end_width", 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Implant:
    """A drum whose axis starts on the neck's axis; it holds still while the neck beats.

    Attributes
    ----------
    width_mm, nominal_mm : float
        Outer width as it sits, and as it was made.
    length_mm, wall_mm : float
        From the face inwards; of mantle and both ends.
    tilt_deg, tilt_direction_deg : float
        Between its axis and the neck's, and the cross-section's direction it leans to.
    protrusion_mm : float
        How far the middle of its face stands in front of the ostium's plane, into the atrium.
    wall_per_mm : float
        Attenuation of the wall.
    """

    width_mm: float = 16.0
    nominal_mm: float = 19.0
    length_mm: float = 11.0
    wall_mm: float = 0.8
    tilt_deg: float = 14.0
    tilt_direction_deg: float = 45.0
    protrusion_mm: float = 2.5
    wall_per_mm: float = 0.22

    def face_mm(self) -> FloatArray:
        """Return the middle of the face in the neck's frame, shape (3,)."""
        return np.array([0.0, 0.0, -self.protrusion_mm])

    def axes(self, anatomy: Anatomy) -> FloatArray:
        """Return rows across, across, along in the neck's frame, shape (3, 3)."""
        turn = np.deg2rad(self.tilt_deg)
        side, neck = anatomy.in_frame(self.tilt_direction_deg), np.array([0.0, 0.0, 1.0])
        along = np.sin(turn) * side + np.cos(turn) * neck
        across = np.cos(turn) * side - np.sin(turn) * neck
        return np.array([across, np.cross(along, across), along])

    def end_mm(self, anatomy: Anatomy) -> FloatArray:
        """Return the middle of the far end in the neck's frame, shape (3,)."""
        return np.asarray(self.face_mm() + self.length_mm * self.axes(anatomy)[2])

    def outline_mm(self) -> FloatArray:
        """Return the corners (lateral, axial) in the plane that holds its axis, shape (4, 2)."""
        turn, radius = np.deg2rad(self.tilt_deg), 0.5 * self.width_mm
        along = np.array([np.sin(turn), np.cos(turn)])
        across = radius * np.array([np.cos(turn), -np.sin(turn)])
        face = np.array([0.0, -self.protrusion_mm])
        end = face + self.length_mm * along
        return np.array([face - across, face + across, end + across, end - across])

    def wall_along_mm(
        self, anatomy: Anatomy, origin_mm: FloatArray, rays: FloatArray
    ) -> FloatArray:
        """Return the mm of wall along unit rays in the neck's frame, shape (n,)."""
        axes = self.axes(anatomy)
        start, ways = axes @ (origin_mm - self.face_mm()), axes @ rays
        spans = [ray_interval(solid, start, ways) for solid in (self._drum(0.0), self._drum(1.0))]
        return np.asarray((spans[0][1] - spans[0][0]) - (spans[1][1] - spans[1][0]))

    def _drum(self, walls_off: float) -> Quadric:
        off = walls_off * self.wall_mm
        radius = 0.5 * self.width_mm - off
        return Quadric(
            centre_mm=np.zeros(3),
            whiten=np.diag([1.0 / radius, 1.0 / radius, 1.0]),
            third_sign=0.0,
            axial_mm=(off, self.length_mm - off),
        )

    def depth_inside_mm(self, anatomy: Anatomy, points_mm: FloatArray) -> FloatArray:
        """Return how deep points (..., 3) of the neck's frame lie inside, negative outside."""
        own = (points_mm - self.face_mm()) @ self.axes(anatomy).T
        mantle = 0.5 * self.width_mm - np.hypot(own[..., 0], own[..., 1])
        ends = np.minimum(own[..., 2], self.length_mm - own[..., 2])
        return np.asarray(np.minimum(mantle, ends))
