"""An ultrasound plane through the scene: conics, and the distance to the nearest blood wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray, Quadric


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanePoints:
    """Points of a plane that contains the neck's axis.

    Attributes
    ----------
    lateral_mm, axial_mm : ndarray
        Coordinates in the plane: beside the neck's axis, and along it from the ostium.
    direction : ndarray, shape (3,)
        The lateral direction in the anatomy's frame.
    """

    lateral_mm: FloatArray
    axial_mm: FloatArray
    direction: FloatArray


def wall_distance(solid: Quadric, points: PlanePoints) -> FloatArray:
    """Return the signed distance of points to a solid's cut, negative inside.

    In the plane the solid is a conic ``q = 1``; the distance is (q - 1)/|grad q|, exact to first
    order at the wall, where it matters.
    """
    form = solid.form()
    neck = np.array([0.0, 0.0, 1.0])
    lateral, axial, mixed = (
        float(points.direction @ form @ points.direction),
        float(neck @ form @ neck),
        float(points.direction @ form @ neck),
    )
    pull = form @ solid.centre_mm
    first, second = float(points.direction @ pull), float(neck @ pull)
    x, z = points.lateral_mm, points.axial_mm
    slope_x = lateral * x + mixed * z - first
    slope_z = mixed * x + axial * z - second
    value = x * (slope_x - first) + z * (slope_z - second) + float(solid.centre_mm @ pull)
    slope = np.sqrt(slope_x**2 + slope_z**2)
    distance = (value - 1.0) / np.maximum(2.0 * slope, 1e-3)
    low, high = solid.axial_mm
    if np.isfinite(solid.axial_mm).any():
        distance = np.maximum(distance, np.maximum(low - z, z - high))
    return np.asarray(distance)


def nearest_wall(solids: tuple[Quadric, ...], points: PlanePoints) -> FloatArray:
    """Return the signed distance to the union of solids, negative in blood."""
    distance = wall_distance(solids[0], points)
    for solid in solids[1:]:
        np.minimum(distance, wall_distance(solid, points), out=distance)
    return distance
