"""How much contrast lies along each ray through the appendage: closed-form chords of its solids."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray, Quadric, ray_interval, union_length
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.xray_view import XraySetup

_VESTIBULE_REACH_MM = 13.0
_ATRIUM_DILUTION = 0.05
_COARSE_PX = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilledShape:
    """The contrast-filled solids of one frame, in the neck's frame.

    Attributes
    ----------
    turn : ndarray, shape (3, 3)
        From view axes to the neck's frame, whose origin is the ostium's centre.
    ostium_mm : ndarray, shape (3,)
        The ostium's centre in view coordinates.
    dense : tuple of Quadric
        Neck, body and lobes: undiluted contrast.
    fading : Quadric
        The vestibule: contrast falls off linearly away from the ostium.
    faint : Quadric
        The atrium: little contrast.
    """

    setup: XraySetup
    turn: FloatArray
    ostium_mm: FloatArray
    dense: tuple[Quadric, ...]
    fading: Quadric
    faint: Quadric

    def _source_mm(self) -> FloatArray:
        return np.asarray(self.turn @ (self.setup.source_mm() - self.ostium_mm))

    def filled_mm(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the mm of undiluted contrast along the rays of pixels, shape (n,)."""
        source, rays = self._source_mm(), self.turn @ self.setup.rays(rows, columns)
        spans = [ray_interval(solid, source, rays) for solid in self.dense]
        total = union_length(
            np.array([span[0] for span in spans]), np.array([span[1] for span in spans])
        )
        entry, leave = ray_interval(self.fading, source, rays)
        return total + (leave - entry) * self._mean_strength(source[2], entry, leave, rays[2])

    def _mean_strength(
        self, start: float, entry: FloatArray, leave: FloatArray, slope: FloatArray
    ) -> FloatArray:
        """Return the mean concentration between two distances along rays in the vestibule.

        It falls off as a parabola with the distance from the ostium, so Simpson's rule is exact.
        """
        reach = abs(self.fading.axial_mm[0])
        weights = ((entry, 1.0), (0.5 * (entry + leave), 4.0), (leave, 1.0))
        total = np.zeros_like(entry)
        for place, weight in weights:
            left = np.clip(1.0 + (start + place * slope) / reach, 0.0, 1.0)
            total += weight * (_ATRIUM_DILUTION + (1.0 - _ATRIUM_DILUTION) * left**2)
        return total / 6.0

    def faint_mm(self, shape: tuple[int, ...]) -> FloatArray:
        """Return the atrium's contrast in mm over a whole image, from a coarse grid of rays."""
        from scipy.ndimage import map_coordinates

        grids = [np.arange(0.0, size + _COARSE_PX, _COARSE_PX) for size in shape]
        rows, columns = (grid.ravel() for grid in np.meshgrid(*grids, indexing="ij"))
        rays = self.turn @ self.setup.rays(rows, columns)
        entry, leave = ray_interval(self.faint, self._source_mm(), rays)
        coarse = (leave - entry).reshape(len(grids[0]), len(grids[1]))
        fine = np.meshgrid(*(np.arange(size) / _COARSE_PX for size in shape), indexing="ij")
        return np.asarray(_ATRIUM_DILUTION * map_coordinates(coarse, fine, order=1))

    def box_px(self) -> tuple[int, int, int, int]:
        """Return top, left, bottom, right of a box in the image that holds the shape."""
        corners = []
        for solid in (*self.dense, self.fading):
            low, high = solid.bounds_mm()
            corners.append(np.stack(np.meshgrid(*zip(low, high, strict=True)), axis=-1))
        points = np.concatenate([corner.reshape(-1, 3) for corner in corners])
        pixels = self.setup.project(points @ self.turn + self.ostium_mm)
        limit = (self.setup.rows, self.setup.columns)
        low_px = np.clip(np.floor(pixels.min(axis=0)) - 3, 0, limit).astype(int)
        high_px = np.clip(np.ceil(pixels.max(axis=0)) + 4, 0, limit).astype(int)
        return int(low_px[0]), int(low_px[1]), int(high_px[0]), int(high_px[1])


def filled_shape(
    setup: XraySetup, beating: BeatingAnatomy, *, index: int, ostium_mm: FloatArray
) -> FilledShape:
    """Place the appendage of one frame in a view.

    Parameters
    ----------
    setup : XraySetup
        The view.
    beating : BeatingAnatomy
        The appendage over the loop.
    index : int
        Frame, from 0.
    ostium_mm : ndarray, shape (3,)
        The ostium's centre in view coordinates.
    """
    anatomy, stretch = beating.anatomy, beating.stretches()[index]
    return FilledShape(
        setup=setup,
        turn=anatomy.axes() @ setup.axes().T,
        ostium_mm=ostium_mm,
        dense=tuple(solid.stretched(stretch) for solid in (anatomy.neck(), *anatomy.lobes())),
        fading=anatomy.vestibule(_VESTIBULE_REACH_MM).stretched(stretch),
        faint=anatomy.atrium(),
    )
