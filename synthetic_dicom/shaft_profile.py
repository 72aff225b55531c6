"""The intensity across a straight tube far from its ends: one line of a picture without noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.quadrics import FloatArray

_STEP_PX = 0.02
_REACH_BLURS = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftProfile:
    """A tube as it stands across one line.

    Attributes
    ----------
    outer_px, inner_px : float
        Diameters.
    wall_per_px, lumen_per_px : float
        Attenuation of the wall's material and of what fills the lumen.
    blur_px : float
        Standard deviation of the Gaussian blur of the intensity.
    veil : float
        Share of the background's intensity that is scatter.
    angle_deg : float
        Of the axis against the rows; a pixel's square is seen along the direction across it.
    """

    outer_px: float
    inner_px: float
    wall_per_px: float
    lumen_per_px: float
    blur_px: float
    veil: float
    angle_deg: float = 0.0

    def absorbed(self, offset_px: FloatArray) -> FloatArray:
        """Return what is missing of the background's intensity at distances from the axis.

        The blur and the pixel's square act in the frequency domain, on cells of 0.02 px.
        """
        reach = float(np.max(np.abs(offset_px))) + _REACH_BLURS * self.blur_px + 2.0
        half = int(np.ceil(reach / _STEP_PX))
        grid = np.asarray(_STEP_PX * np.arange(-half, half + 1), dtype=np.float64)
        depth = self.wall_per_px * (chord_px(grid, self.outer_px) - chord_px(grid, self.inner_px))
        depth = depth + self.lumen_per_px * chord_px(grid, self.inner_px)
        missing = (1.0 - self.veil) * (1.0 - np.exp(-depth))
        rate = np.fft.rfftfreq(2 * len(grid), d=_STEP_PX)
        angle = np.deg2rad(self.angle_deg)
        passed = np.exp(-2.0 * (np.pi * self.blur_px * rate) ** 2)
        passed *= np.sinc(rate * np.cos(angle)) * np.sinc(rate * np.sin(angle))
        seen = np.fft.irfft(np.fft.rfft(missing, 2 * len(grid)) * passed)[: len(grid)]
        return np.interp(offset_px, grid, seen)

    def peak(self) -> float:
        """Return the deepest point of the shadow, as a share of the background."""
        return float(np.max(self.absorbed(np.linspace(-0.6, 0.6, 241) * self.outer_px)))


def chord_px(distance_px: FloatArray, diameter_px: float) -> FloatArray:
    """Return the way of a ray through a round section that it passes at a distance."""
    return 2.0 * np.sqrt(np.maximum(0.25 * diameter_px**2 - distance_px**2, 0.0))
