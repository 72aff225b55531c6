"""An ultrasound plane through the scene: conics, and the distance to the nearest blood wall."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from synthetic_dicom.quadrics import FloatArray, Quadric


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanePoints:
    """Points of a plane.

    Attributes
    ----------
    lateral_mm, axial_mm : ndarray
        Coordinates in the plane.
    direction : ndarray, shape (3,)
        The lateral direction in the anatomy's frame.
    down : ndarray, shape (3,)
        The axial direction: the neck's axis, from the ostium inwards, unless stated.
    origin_mm : ndarray, shape (3,)
        Where both coordinates are 0: the ostium's middle unless stated.
    """

    lateral_mm: FloatArray
    axial_mm: FloatArray
    direction: FloatArray
    down: FloatArray = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    origin_mm: FloatArray = field(default_factory=lambda: np.zeros(3))

    def places_mm(self) -> FloatArray:
        """Return the points in the anatomy's frame, shape (..., 3)."""
        across = self.lateral_mm[..., None] * self.direction
        return np.asarray(self.origin_mm + across + self.axial_mm[..., None] * self.down)


def wall_distance(solid: Quadric, points: PlanePoints) -> FloatArray:
    """Return the signed distance of points to a solid's cut, negative inside.

    In the plane the solid is a conic ``q = 1``; the distance is (q - 1)/|grad q|, exact to first
    order at the wall, where it matters.
    """
    form, centre = solid.form(), solid.centre_mm - points.origin_mm
    lateral, axial, mixed = (
        float(points.direction @ form @ points.direction),
        float(points.down @ form @ points.down),
        float(points.direction @ form @ points.down),
    )
    pull = form @ centre
    first, second = float(points.direction @ pull), float(points.down @ pull)
    x, z = points.lateral_mm, points.axial_mm
    slope_x = lateral * x + mixed * z - first
    slope_z = mixed * x + axial * z - second
    value = x * (slope_x - first) + z * (slope_z - second) + float(centre @ pull)
    slope = np.sqrt(slope_x**2 + slope_z**2)
    distance = (value - 1.0) / np.maximum(2.0 * slope, 1e-3)
    low, high = solid.axial_mm
    if np.isfinite(solid.axial_mm).any():
        deep = points.origin_mm[2] + x * points.direction[2] + z * points.down[2]
        distance = np.maximum(distance, np.maximum(low - deep, deep - high))
    return np.asarray(distance)


def nearest_wall(solids: tuple[Quadric, ...], points: PlanePoints) -> FloatArray:
    """Return the signed distance to the union of solids, negative in blood."""
    distance = wall_distance(solids[0], points)
    for solid in solids[1:]:
        np.minimum(distance, wall_distance(solid, points), out=distance)
    return distance
