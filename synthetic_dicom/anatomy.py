"""The appendage in millimetres: ostium, tapering neck, bend, lobes, and how it beats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray, Quadric, ellipsoid

# Patient axes as in DICOM: x to the left, y to the back, z to the head. The neck points to the
# left, to the front and a little upwards, so that right-oblique views see it from the side.
NECK_DIRECTION = np.array([0.80, -0.42, 0.12]) / np.linalg.norm([0.80, -0.42, 0.12])
OSTIUM_CENTRE_MM = np.array([8.0, 10.0, 4.0])

# The body's parts: place along the axis, width in neck widths, half-length in axis lengths.
_CHAIN = ((0.34, 1.06, 0.46), (0.62, 0.80, 0.34), (0.82, 0.56, 0.24))
# Lobes: place along the axis, direction from that of the bend, distance from the axis and size in
# neck widths.
_LOBES = (
    (0.30, 176.0, 0.72, 0.46),
    (0.62, 172.0, 0.46, 0.36),
    (0.36, 8.0, 0.66, 0.42),
    (0.74, -10.0, 0.30, 0.34),
    (0.50, -95.0, 0.62, 0.42),
    (0.56, 92.0, 0.56, 0.44),
    (0.90, 150.0, 0.22, 0.30),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Anatomy:
    """One appendage at its fullest.

    Attributes
    ----------
    ostium_major_mm, ostium_minor_mm : float
        Full axes of the elliptical ostium.
    taper : float
        Landing-zone axes divided by ostium axes.
    landing_depth_mm : float
        Distance from the ostium plane to the landing zone along the neck.
    orientation_deg : float
        Direction of the major axis in the cross-section, from the 0° ultrasound plane.
    bend_deg, bend_direction_deg : float
        Turn of the axis beyond the neck, and the direction it turns to in the cross-section.
    body_length_mm : float
        Length of the axis beyond the neck.
    contraction_major, contraction_minor, contraction_length : float
        Fractions by which the extents shrink at full contraction.
    """

    ostium_major_mm: float = 26.0
    ostium_minor_mm: float = 20.0
    taper: float = 0.87
    landing_depth_mm: float = 11.0
    orientation_deg: float = 30.0
    bend_deg: float = 40.0
    bend_direction_deg: float = 0.0
    body_length_mm: float = 15.0
    contraction_major: float = 0.09
    contraction_minor: float = 0.12
    contraction_length: float = 0.03

    def axes(self) -> FloatArray:
        """Return rows major, minor, neck in patient axes: a right-handed frame, shape (3, 3)."""
        zero, ninety = cross_section_axes()
        angle = np.deg2rad(self.orientation_deg)
        major = np.cos(angle) * zero + np.sin(angle) * ninety
        return np.array([major, np.cross(NECK_DIRECTION, major), NECK_DIRECTION])

    def in_frame(self, direction_deg: float) -> FloatArray:
        """Return the unit vector of a cross-section direction in the anatomy's own frame."""
        angle = np.deg2rad(direction_deg - self.orientation_deg)
        return np.array([np.cos(angle), np.sin(angle), 0.0])

    def stretch(self, contraction: float, filling: float) -> FloatArray:
        """Return the factors of (major, minor, neck) extents at one moment, shape (3,)."""
        shrink = (self.contraction_major, self.contraction_minor, self.contraction_length)
        return filling * (1.0 - contraction * np.array(shrink))

    def section_axes_mm(self, depth_mm: float) -> FloatArray:
        """Return the full axes of the neck's cross-section at a depth, at the fullest."""
        bulge = 1.0 / self.taper**2 - 1.0
        away = (depth_mm - self.landing_depth_mm) / self.landing_depth_mm
        width = self.taper * np.sqrt(1.0 + bulge * away**2)
        return np.asarray(width * np.array([self.ostium_major_mm, self.ostium_minor_mm]))

    def bend_point_mm(self, along_mm: float) -> tuple[FloatArray, FloatArray]:
        """Return place and direction of the axis at a distance beyond the landing zone."""
        start = np.array([0.0, 0.0, self.landing_depth_mm + 2.0])
        side, neck = self.in_frame(self.bend_direction_deg), np.array([0.0, 0.0, 1.0])
        rate = np.deg2rad(self.bend_deg) / self.body_length_mm
        angle = rate * along_mm
        if abs(rate) < 1e-9:
            return start + along_mm * neck, neck
        place = start + (np.sin(angle) * neck + (1.0 - np.cos(angle)) * side) / rate
        return place, np.cos(angle) * neck + np.sin(angle) * side

    def tip_mm(self) -> FloatArray:
        """Return the appendage's end in its own frame, at the fullest."""
        share, _, half = _CHAIN[-1]
        place, forward = self.bend_point_mm(share * self.body_length_mm)
        return place + half * self.body_length_mm * forward

    def bend_corner_mm(self) -> FloatArray:
        """Return where the neck's axis meets that of the appendage's end, at the fullest.

        The axis runs straight, turns along an arc, and runs straight again: its two straight
        parts, drawn on, meet at ``tan(turn / 2)`` radii beyond the arc's start.
        """
        start, neck = self.bend_point_mm(0.0)
        turn = np.deg2rad(self.bend_deg) * _CHAIN[-1][0]
        beyond = np.tan(0.5 * turn) / turn if turn > 1e-9 else 0.5
        return np.asarray(start + beyond * _CHAIN[-1][0] * self.body_length_mm * neck)

    def lobe_end_mm(self, index: int) -> FloatArray:
        """Return the end of a lobe beside the body, farthest from the body's axis."""
        share, turn_deg, away, size = _LOBES[index]
        waist = 0.5 * self.section_axes_mm(self.landing_depth_mm)
        mean = float(np.sqrt(waist[0] * waist[1]))
        place, _ = self.bend_point_mm(share * self.body_length_mm)
        out = self.in_frame(self.bend_direction_deg + turn_deg)
        # the lobe is an ellipsoid along the frame's own axes
        radii = size * mean * np.array([1.0, 0.85, 0.8])
        reach = 1.0 / float(np.linalg.norm(out / radii))
        return np.asarray(place + (away * mean + reach) * out)

    def neck(self) -> Quadric:
        """Return the neck: a hyperboloid of one sheet whose waist is the landing zone."""
        return self._funnel((0.0, self.landing_depth_mm + 5.0))

    def vestibule(self, reach_mm: float) -> Quadric:
        """Return the flare between the ostium and the atrium."""
        return self._funnel((-reach_mm, 0.0))

    def _funnel(self, axial_mm: tuple[float, float]) -> Quadric:
        waist = 0.5 * self.section_axes_mm(self.landing_depth_mm)
        pitch = self.landing_depth_mm / np.sqrt(1.0 / self.taper**2 - 1.0)
        return Quadric(
            centre_mm=np.array([0.0, 0.0, self.landing_depth_mm]),
            whiten=np.diag(1.0 / np.array([waist[0], waist[1], pitch])),
            third_sign=-1.0,
            axial_mm=axial_mm,
        )

    def lobes(self) -> tuple[Quadric, ...]:
        """Return the body along the bent axis and the lobes beside it."""
        waist = 0.5 * self.section_axes_mm(self.landing_depth_mm)
        length = self.body_length_mm
        body = [
            self._blob(share * length, waist * width, half * length)
            for share, width, half in _CHAIN
        ]
        # Rounds off the neck's end, which the bent body alone would leave as a step.
        heel = np.array([1.06 * waist[0], 1.06 * waist[1], 5.0])
        body.append(ellipsoid(np.array([0.0, 0.0, self.landing_depth_mm + 5.0]), heel, np.eye(3)))
        mean = float(np.sqrt(waist[0] * waist[1]))
        for share, turn_deg, away, size in _LOBES:
            place, _ = self.bend_point_mm(share * length)
            out = self.in_frame(self.bend_direction_deg + turn_deg)
            radii = size * mean * np.array([1.0, 0.85, 0.8])
            body.append(ellipsoid(place + away * mean * out, radii, np.eye(3)))
        return tuple(body)

    def _blob(self, along_mm: float, half_widths_mm: FloatArray, half_length_mm: float) -> Quadric:
        place, forward = self.bend_point_mm(along_mm)
        first = np.array([1.0, 0.0, 0.0]) - forward[0] * forward
        first /= np.linalg.norm(first)
        axes = np.array([first, np.cross(forward, first), forward])
        return ellipsoid(place, np.array([*half_widths_mm, half_length_mm]), axes)

    def atrium(self) -> Quadric:
        """Return the part of the left atrium in front of the ostium."""
        return ellipsoid(np.array([3.0, -2.0, -21.0]), np.array([29.0, 26.0, 20.0]), np.eye(3))


def cross_section_axes() -> tuple[FloatArray, FloatArray]:
    """Return the 0° and 90° directions of the cross-section in patient axes.

    Both modalities share this zero: an ultrasound plane at multiplane angle α cuts the
    cross-section along cos α · zero + sin α · ninety.
    """
    head = np.array([0.0, 0.0, 1.0])
    zero = head - (head @ NECK_DIRECTION) * NECK_DIRECTION
    zero /= np.linalg.norm(zero)
    return zero, np.cross(NECK_DIRECTION, zero)


def anatomy_for(rng: np.random.Generator) -> Anatomy:
    """Draw an appendage of plausible size (ranges from published means and spreads)."""
    major = round(float(rng.uniform(23.0, 29.0)), 2)
    return Anatomy(
        ostium_major_mm=major,
        ostium_minor_mm=round(major * float(rng.uniform(0.70, 0.84)), 2),
        taper=round(float(rng.uniform(0.84, 0.90)), 3),
        landing_depth_mm=round(float(rng.uniform(10.3, 11.7)), 2),
        orientation_deg=round(float(rng.uniform(0.0, 180.0)), 1),
        bend_deg=round(float(rng.uniform(35.0, 65.0)), 1),
        bend_direction_deg=round(float(rng.uniform(-20.0, 20.0)), 1),
        body_length_mm=round(float(rng.uniform(14.0, 18.0)), 2),
    )
