"""Solids bounded by second-order surfaces: where a ray is inside, where a plane cuts them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quadric:
    """The solid ``y1² + y2² + third_sign·y3² <= 1`` with ``y = whiten (p - centre_mm)``.

    Attributes
    ----------
    centre_mm : ndarray, shape (3,)
        Centre in the frame of the anatomy.
    whiten : ndarray, shape (3, 3)
        Maps a displacement in mm to the surface's own dimensionless axes.
    third_sign : float
        ``1`` for an ellipsoid, ``-1`` for a hyperboloid of one sheet about the third axis.
    axial_mm : tuple of float
        Lowest and highest third coordinate that belongs to the solid.
    """

    centre_mm: FloatArray
    whiten: FloatArray
    third_sign: float = 1.0
    axial_mm: tuple[float, float] = (-np.inf, np.inf)

    def stretched(self, factors: FloatArray) -> Quadric:
        """Return the solid after ``p -> factors * p``, factors of shape (3,)."""
        low, high = self.axial_mm
        return replace(
            self,
            centre_mm=self.centre_mm * factors,
            whiten=self.whiten / factors[np.newaxis, :],
            axial_mm=(low * factors[2], high * factors[2]),
        )

    def form(self) -> FloatArray:
        """Return the symmetric matrix Q of ``(p - c)ᵀ Q (p - c) <= 1``, shape (3, 3), in 1/mm²."""
        signs = np.array([1.0, 1.0, self.third_sign])
        return np.asarray(self.whiten.T @ (signs[:, np.newaxis] * self.whiten), dtype=float)

    def bounds_mm(self) -> tuple[FloatArray, FloatArray]:
        """Return the lowest and highest coordinates of a bounded solid, each of shape (3,)."""
        unwhiten = np.linalg.inv(self.whiten)
        if self.third_sign > 0.0:
            reach = np.sqrt((unwhiten**2).sum(axis=1))
            return self.centre_mm - reach, self.centre_mm + reach
        ends = np.array(self.axial_mm)
        far = np.abs(ends - self.centre_mm[2]).max() * self.whiten[2, 2]
        reach = np.sqrt(1.0 + far**2) * np.sqrt((unwhiten[:, :2] ** 2).sum(axis=1))
        low, high = self.centre_mm - reach, self.centre_mm + reach
        low[2], high[2] = ends
        return low, high


def ellipsoid(centre_mm: FloatArray, semi_axes_mm: FloatArray, axes: FloatArray) -> Quadric:
    """Return an ellipsoid; ``axes`` has its unit vectors as rows, shape (3, 3)."""
    return Quadric(centre_mm=centre_mm, whiten=axes / semi_axes_mm[:, np.newaxis])


def ray_interval(
    solid: Quadric, origin_mm: FloatArray, directions: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where unit rays are inside a solid: closed form, no sampling.

    Parameters
    ----------
    solid : Quadric
        Must be met in one interval: an ellipsoid, or a hyperboloid crossed by steep rays.
    origin_mm : ndarray, shape (3,)
        Common start of the rays.
    directions : ndarray, shape (3, n)
        Unit vectors.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Distances in mm at entry and exit; equal (0, 0) where the ray misses.
    """
    signs = np.array([1.0, 1.0, solid.third_sign])
    start = solid.whiten @ (origin_mm - solid.centre_mm)
    along = solid.whiten @ directions
    a = signs @ (along * along)
    b = (signs * start) @ along
    root = b * b - a * (float(signs @ start**2) - 1.0)
    hit = np.flatnonzero((root > 0.0) & (a > 0.0))
    half, middle, safe = np.sqrt(root[hit]), -b[hit], a[hit]
    first, last = (middle - half) / safe, (middle + half) / safe
    if np.isfinite(solid.axial_mm).any():
        axial_ray = (float(origin_mm[2]), directions[2, hit])
        first, last = _within_slab(solid.axial_mm, axial_ray, first, last)
    entry, leave = np.zeros(directions.shape[1]), np.zeros(directions.shape[1])
    kept = last > first
    entry[hit[kept]], leave[hit[kept]] = first[kept], last[kept]
    return entry, leave


def _within_slab(
    slab_mm: tuple[float, float],
    axial_ray: tuple[float, FloatArray],
    entry: FloatArray,
    leave: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Shorten intervals to the part whose axial coordinate lies in the slab."""
    start, slope = axial_ray
    steep = np.where(np.abs(slope) < 1e-12, 1e-12, slope)
    first, second = (slab_mm[0] - start) / steep, (slab_mm[1] - start) / steep
    return (
        np.maximum(entry, np.minimum(first, second)),
        np.minimum(leave, np.maximum(first, second)),
    )


def union_length(entries: FloatArray, leaves: FloatArray) -> FloatArray:
    """Length covered by several intervals of each ray, overlaps counted once.

    Parameters
    ----------
    entries, leaves : ndarray, shape (solids, n)
        Interval ends in mm.

    Returns
    -------
    ndarray, shape (n,)
        Covered length in mm.
    """
    total = (leaves - entries).sum(axis=0)
    several = np.flatnonzero((leaves > entries).sum(axis=0) > 1)
    order = np.argsort(entries[:, several], axis=0)
    first = np.take_along_axis(entries[:, several], order, axis=0)
    last = np.take_along_axis(leaves[:, several], order, axis=0)
    reach = np.maximum.accumulate(last, axis=0)
    covered = last[0] - first[0]
    for index in range(1, len(first)):
        covered += np.maximum(0.0, last[index] - np.maximum(first[index], reach[index - 1]))
    total[several] = covered
    return np.asarray(total, dtype=float)
