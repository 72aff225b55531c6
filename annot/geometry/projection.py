"""An X-ray view as a point source and a detector: axes, rays, and what two views see together.

Patient axes are DICOM's (PS3.3 C.7.6.2): x to the left, y to the back, z to the head, in mm from
the isocentre. The positioner's angles say where the detector stands (PS3.3 C.8.7.5): primary
positive towards the left (LAO), secondary positive towards the head (cranial).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Projection:
    """One X-ray view of an isocentric stand.

    Attributes
    ----------
    primary_deg, secondary_deg : float
        Positioner angles.
    sid_mm, sod_mm : float
        Source to detector, source to isocentre.
    spacing_mm : (float, float)
        Pixel spacing at the detector, (row, column).
    rows, columns : int
        Size of the image; the central ray is taken to meet its middle.
    shift_mm : (float, float, float)
        Where this view's isocentre lies in the patient's axes; differs between views when the
        table moved.
    """

    primary_deg: float
    secondary_deg: float
    sid_mm: float
    sod_mm: float
    spacing_mm: tuple[float, float]
    rows: int
    columns: int
    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        if not 0 < self.sod_mm < self.sid_mm:
            raise ValueError(
                f"The isocentre lies between source and detector, got {self.sod_mm} and "
                f"{self.sid_mm} mm."
            )

    @property
    def towards_detector(self) -> FloatArray:
        """Unit vector along the central ray, from source to detector."""
        return beam_direction(self.primary_deg, self.secondary_deg)

    @property
    def axes(self) -> FloatArray:
        """Rows: along the columns' number, along the rows' number, towards the source."""
        turn = np.deg2rad(self.primary_deg)
        across = np.array([np.cos(turn), np.sin(turn), 0.0])
        beam = self.towards_detector
        return np.array([across, np.cross(across, beam), -beam])

    @property
    def source_mm(self) -> FloatArray:
        """The source in patient axes."""
        return np.asarray(self.shift_mm, dtype=float) - self.sod_mm * self.towards_detector

    def rays(self, points_px: ArrayLike) -> FloatArray:
        """Return unit vectors from the source towards (row, column) points, shape (n, 3)."""
        points = np.asarray(points_px, dtype=float).reshape(-1, 2)
        down = (points[:, 0] - (self.rows - 1) / 2) * self.spacing_mm[0]
        across = (points[:, 1] - (self.columns - 1) / 2) * self.spacing_mm[1]
        away = np.full_like(down, -self.sid_mm)
        vectors = np.stack([across, down, away], axis=1) @ self.axes
        return np.asarray(vectors / np.linalg.norm(vectors, axis=1)[:, None])

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Return where points in patient axes are seen, (row, column), shape (n, 2)."""
        across, down, height = self._seen(points_mm).T
        larger = self.sid_mm / (self.sod_mm - height)
        return np.stack(
            [
                down * larger / self.spacing_mm[0] + (self.rows - 1) / 2,
                across * larger / self.spacing_mm[1] + (self.columns - 1) / 2,
            ],
            axis=1,
        )

    def heights(self, points_mm: ArrayLike) -> FloatArray:
        """Return heights above the isocentre along the central ray, towards the source, in mm."""
        return self._seen(points_mm)[:, 2]

    def slopes(self, point_mm: ArrayLike) -> FloatArray:
        """Return the derivatives of (row, column) by a point's place, px per mm, shape (2, 3)."""
        across, down, height = self._seen(point_mm)[0]
        away = self.sod_mm - height
        larger = self.sid_mm / away
        columns = np.array([larger, 0.0, across * larger / away]) / self.spacing_mm[1]
        rows = np.array([0.0, larger, down * larger / away]) / self.spacing_mm[0]
        return np.stack([rows, columns]) @ self.axes

    def _seen(self, points_mm: ArrayLike) -> FloatArray:
        points = np.asarray(points_mm, dtype=float).reshape(-1, 3) - np.asarray(self.shift_mm)
        return np.asarray(points @ self.axes.T)


def beam_direction(primary_deg: ArrayLike, secondary_deg: ArrayLike) -> FloatArray:
    """Return the unit vector from source to detector, shape (..., 3)."""
    primary, secondary = np.deg2rad(primary_deg), np.deg2rad(secondary_deg)
    return np.stack(
        [
            np.sin(primary) * np.cos(secondary),
            -np.cos(primary) * np.cos(secondary),
            np.sin(secondary) * np.ones_like(primary),
        ],
        axis=-1,
    )


def nearest_crossing(
    first: Projection, second: Projection, points_px: tuple[ArrayLike, ArrayLike]
) -> tuple[FloatArray, FloatArray]:
    """Return where the rays of two views come nearest, and by how much they miss.

    Parameters
    ----------
    first, second : Projection
    points_px : pair of arrays, shape (n, 2) each
        The same landmarks in both views.

    Returns
    -------
    points_mm : array, shape (n, 3)
        The middle of the shortest line between the two rays.
    miss_mm : array, shape (n,)
        Its length, signed by the side on which the second ray passes.
    """
    rays = first.rays(points_px[0]), second.rays(points_px[1])
    between = second.source_mm - first.source_mm
    cosine = np.sum(rays[0] * rays[1], axis=1)
    along = rays[0] @ between, rays[1] @ between
    sine2 = 1 - cosine**2
    reach = (along[0] - cosine * along[1]) / sine2, (cosine * along[0] - along[1]) / sine2
    near = first.source_mm + reach[0][:, None] * rays[0]
    far = second.source_mm + reach[1][:, None] * rays[1]
    normal = np.cross(rays[0], rays[1])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return (near + far) / 2, np.sum((far - near) * normal, axis=1)


def ray_in_other_view(
    first: Projection, second: Projection, point_px: ArrayLike, heights_mm: Sequence[float]
) -> FloatArray:
    """Return the ray of one view's point as it is seen in the other, shape (n, 2).

    The epipolar line: every place the point may be at, by its height above the isocentre in
    the first view.
    """
    ray = first.rays(point_px)[0]
    climb = float(ray @ first.towards_detector)
    reach = (first.sod_mm - np.asarray(heights_mm, dtype=float)) / climb
    return second.project(first.source_mm + reach[:, None] * ray)


def angle_between_deg(first: ArrayLike, second: ArrayLike) -> float:
    """Return the angle between two directions, 0 to 180 degrees."""
    one, other = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    return float(np.rad2deg(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)))


def silhouette_direction_deg(axis: ArrayLike, ray: ArrayLike) -> float:
    """Return the direction, around an axis, in which a view sees the axis's tube as wide.

    0° is horizontal in the patient (square to the axis and to the head's direction), positive by
    the right hand around the axis; 0 to 180. Undefined for an axis along the head's direction or
    along the ray.
    """
    neck = np.asarray(axis, dtype=float)
    neck = neck / np.linalg.norm(neck)
    zero = np.cross(neck, [0.0, 0.0, 1.0])
    across = np.cross(neck, np.asarray(ray, dtype=float))
    if min(np.linalg.norm(zero), np.linalg.norm(across)) < 1e-9:
        raise ValueError("The axis runs along the ray or towards the head: no direction around it.")
    zero = zero / np.linalg.norm(zero)
    ninety = np.cross(neck, zero)
    return float(np.rad2deg(np.arctan2(across @ ninety, across @ zero)) % 180.0)


def square_views(
    axis: ArrayLike, primaries_deg: ArrayLike, *, steepest_deg: float
) -> list[tuple[float, float]]:
    """Return views (primary, secondary) whose central ray is square to an axis.

    For each primary angle there is one secondary: tan s = (a_y cos p − a_x sin p)/a_z. Those
    steeper than `steepest_deg` are left out.
    """
    x, y, z = (float(value) for value in np.asarray(axis, dtype=float))
    views = []
    for primary in np.asarray(primaries_deg, dtype=float):
        turn = np.deg2rad(primary)
        flat = y * np.cos(turn) - x * np.sin(turn)
        secondary = float(np.rad2deg(np.arctan2(flat, z)))
        # the same plane of rays, brought to the side of the table that a stand reaches
        secondary -= 180.0 * round(secondary / 180.0)
        if abs(secondary) <= steepest_deg:
            views.append((float(primary), secondary))
    return views
