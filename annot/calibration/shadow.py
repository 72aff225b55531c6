"""What an X-ray beam leaves of a tube or a ball: profiles of transmitted intensity.

Beer–Lambert along the chord, then the system's blur acting on the intensity. Lengths in
pixels; the fits in this room find the size that explains the picture.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import GLARE_WIDTH

FloatArray = NDArray[np.float64]
GRID_STEP_PX = 0.05  # fine enough that the chord's square-root edge costs < 0.001 px of width
BLUR_REACH = 5.0  # standard deviations of blur kept beyond the profile
GLARE_SQUARED = GLARE_WIDTH.value**2


def mean_chord_px(offset_px: FloatArray, diameter_px: float, cell_px: float) -> FloatArray:
    """Return the chord of a circle averaged over cells of that width.

    The cell mean comes from the antiderivative x√(R²−x²) + R² asin(x/R), so that it changes
    smoothly with the diameter although the chord itself ends in a square root.
    """
    radius = diameter_px / 2.0
    edges = np.clip(
        np.stack([offset_px - cell_px / 2, offset_px + cell_px / 2]) / radius, -1.0, 1.0
    )
    area = radius**2 * (edges * np.sqrt(1.0 - edges**2) + np.arcsin(edges))
    return np.asarray((area[1] - area[0]) / cell_px, dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeShadow:
    """A tube across its axis.

    Attributes
    ----------
    outer_px : float
        Outer diameter.
    lumen_ratio : float
        Inner over outer diameter, 0 for a solid rod.
    wall_depth, lumen_depth : float
        Optical depth (attenuation × path) that a path of one outer diameter would have in the
        wall's material and in the lumen's content, above the surroundings.
    blur_px : float
        Standard deviation of the system's Gaussian blur, before a pixel integrates its square.
    glare : float
        Share of the blur that is `GLARE_WIDTH` (see `allowances`) times as wide.
    across : (float, float)
        Direction (row, column) across the axis, along which a square pixel is seen.
    """

    outer_px: float
    lumen_ratio: float
    wall_depth: float
    lumen_depth: float
    blur_px: float
    glare: float = 0.0
    across: tuple[float, float] = (0.0, 1.0)

    def absorbed(self, offset_px: FloatArray) -> FloatArray:
        """Return the fraction of the beam removed at signed distances from the axis, blurred."""
        reach = float(np.max(np.abs(offset_px))) + BLUR_REACH * self.blur_px + 1.0
        half = int(np.ceil(reach / GRID_STEP_PX))
        grid = np.asarray(GRID_STEP_PX * np.arange(-half, half + 1), dtype=np.float64)
        lumen = mean_chord_px(grid, self.outer_px * self.lumen_ratio, GRID_STEP_PX)
        wall = mean_chord_px(grid, self.outer_px, GRID_STEP_PX) - lumen
        depth = (self.wall_depth * wall + self.lumen_depth * lumen) / self.outer_px
        # zero outside
        count = 2 * len(grid)
        frequency = np.asarray(np.fft.rfftfreq(count, d=GRID_STEP_PX), dtype=np.float64)
        sharp, wide = transfers(frequency, self.blur_px, self.across)
        response = sharp + self.glare * (wide - sharp)
        spectrum = np.fft.rfft(-np.expm1(-depth), count) * response
        return np.interp(offset_px, grid, np.fft.irfft(spectrum, count)[: len(grid)])


def transfers(
    frequency: FloatArray, blur_px: float, across: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Return the transfers of blur and glare, each with a square pixel, per frequency in 1/px.

    A square pixel seen along (row, column) has the transfer sinc(f·row)·sinc(f·column).
    """
    pixel = np.sinc(frequency * across[0]) * np.sinc(frequency * across[1])
    blur = np.exp(-2.0 * (np.pi * frequency * blur_px) ** 2)
    return np.asarray(pixel * blur), np.asarray(pixel * blur**GLARE_SQUARED)


@cache
def _quadrature() -> tuple[FloatArray, FloatArray]:
    """Return Gauss–Legendre nodes and weights: finding them costs more than using them."""
    nodes, weights = np.polynomial.legendre.leggauss(96)
    return nodes, weights


@dataclass(frozen=True, slots=True, kw_only=True)
class BallShadow:
    """A solid ball; `depth` is the optical depth along its diameter."""

    diameter_px: float
    depth: float
    blur_px: float

    def absorbed(self, distance_px: FloatArray) -> FloatArray:
        """Return the fraction of the beam removed at distances from the centre, blurred in 2-D.

        A radial function f blurred by a Gaussian of σ is
        ∫ f(t) t/σ² exp(−(r−t)²/2σ²) I₀ₑ(r t/σ²) dt, with I₀ₑ the scaled Bessel function; the
        substitution t = R sin θ takes the square root out of the edge.
        """
        from scipy.special import i0e

        nodes, weights = _quadrature()
        theta = (nodes + 1.0) * np.pi / 4.0
        radius = self.diameter_px / 2.0
        inner = radius * np.sin(theta)
        measure = weights * np.pi / 4.0 * radius * np.cos(theta)
        source = -np.expm1(-self.depth * np.cos(theta)) * inner * measure / self.blur_px**2
        table = np.linspace(0.0, float(np.max(distance_px)) + 1e-9, 400)
        kernel = np.exp(-((table[:, None] - inner) ** 2) / (2 * self.blur_px**2)) * i0e(
            table[:, None] * inner / self.blur_px**2
        )
        return np.asarray(np.interp(distance_px, table, kernel @ source))
