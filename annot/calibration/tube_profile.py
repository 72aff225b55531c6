"""A tube's blurred shadow as a table on a fine grid, with its slopes by every unknown.

One table serves all sections of a shaft, so a fit of many sections costs little more than a fit of
one. The slopes are exact: chords by calculus before the blur, the blur's own in its transfer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.shadow import BLUR_REACH, GLARE_SQUARED, TubeShadow, mean_chord_px, transfers

FloatArray = NDArray[np.float64]
ThreadShadow = tuple[FloatArray, FloatArray, FloatArray]

STEP_PX = 0.1  # cell mean and interpolation blur by 0.05 px, which the blur's own unknown takes up
# rows of a table
ROWS = 8
VALUE, BY_OFFSET, BY_LOG_OUTER, BY_LOG_BLUR, BY_GLARE, BY_RATIO, BY_LOG_WALL, BY_LOG_LUMEN = range(
    ROWS
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeProfile:
    """Rows of the table (see the constants of this page) at steps of a fine grid from `first_px`.

    Attributes
    ----------
    first_px : float
        Offset of the first column from the axis.
    rows : array, shape (8, n)
        Fraction absorbed, and its slope by offset and by each unknown.
    """

    first_px: float
    rows: FloatArray

    def at(self, offset_px: FloatArray) -> FloatArray:
        """Return every row at signed distances from the axis, shape (8, *offset.shape)."""
        place = (offset_px - self.first_px) / STEP_PX
        place = np.clip(place, 0.0, self.rows.shape[1] - 2.0)
        cell = place.astype(np.intp)
        left = self.rows[:, cell]
        return np.asarray(left + (place - cell) * (self.rows[:, cell + 1] - left))


def tube_profile(tube: TubeShadow, reach_px: float) -> TubeProfile:
    """Return the table of a tube out to a distance from its axis.

    Parameters
    ----------
    tube : TubeShadow
    reach_px : float
        Largest offset that will be asked for.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    half = int(np.ceil((reach_px + BLUR_REACH * tube.blur_px + 1.0) / STEP_PX))
    grid = np.asarray(STEP_PX * np.arange(-half, half + 1), dtype=np.float64)
    outer, ratio = tube.outer_px, tube.lumen_ratio
    lumen = mean_chord_px(grid, outer * ratio, STEP_PX) / outer
    whole = mean_chord_px(grid, outer, STEP_PX) / outer
    by_inner = _chord_by_diameter(grid, outer * ratio)
    by_outer = _chord_by_diameter(grid, outer)
    left = np.exp(-(tube.wall_depth * (whole - lumen) + tube.lumen_depth * lumen))
    excess = tube.lumen_depth - tube.wall_depth
    # by log D: chord / D changes through both diameters and through the division
    depth_by_outer = tube.wall_depth * (by_outer - whole) + excess * (ratio * by_inner - lumen)
    sharp = np.stack(
        [
            1.0 - left,
            left * depth_by_outer,
            left * excess * by_inner,
            left * tube.wall_depth * (whole - lumen),
            left * tube.lumen_depth * lumen,
        ]
    )
    # the tube ends well inside the grid, so nothing comes round its ends
    count = next_fast_len(len(grid), real=True)
    frequency = np.asarray(np.fft.rfftfreq(count, d=STEP_PX), dtype=np.float64)
    near, wide = transfers(frequency, tube.blur_px, tube.across)
    bare = rfft(sharp, count)
    spectrum = bare * (near + tube.glare * (wide - near))
    by_offset = 2j * np.pi * frequency * spectrum[0]
    falling = -4.0 * (np.pi * frequency * tube.blur_px) ** 2
    by_blur = falling * ((1.0 - tube.glare) * near + tube.glare * GLARE_SQUARED * wide) * bare[0]
    by_glare = (wide - near) * bare[0]
    spectra = np.stack([spectrum[0], by_offset, spectrum[1], by_blur, by_glare, *spectrum[2:]])
    rows = irfft(spectra, count)[:, : len(grid)]
    return TubeProfile(first_px=float(grid[0]), rows=np.asarray(rows, dtype=np.float64))


def _chord_by_diameter(offset_px: FloatArray, diameter_px: float) -> FloatArray:
    """Return the slope of a circle's mean chord over a grid cell by its diameter.

    The antiderivative x√(R²−x²) + R² asin(x/R) has the slope 2R asin(x/R) by R.
    """
    radius = diameter_px / 2.0
    edges = np.stack([offset_px - STEP_PX / 2, offset_px + STEP_PX / 2])
    turned = radius * np.arcsin(np.clip(edges / radius, -1.0, 1.0))
    return np.asarray((turned[1] - turned[0]) / STEP_PX, dtype=float)


def thread_shadow(
    across: FloatArray, *, outer_px: float, blur_px: float, place: float, width: float
) -> ThreadShadow:
    """Return the shadow of a thin dense thread, depth one, and its slopes by place and log width.

    The place counts in outer radii from the axis, the width (standard deviation) in outer
    diameters; that both grow with the diameter is left out of its slope, as they follow the fit.
    """
    own = width * outer_px
    variance = blur_px**2 + own**2
    away = across - place * outer_px / 2
    shadow = np.exp(-(away**2) / variance / 2)
    return (
        np.asarray(shadow),
        np.asarray(shadow * away / variance * outer_px / 2),
        np.asarray(shadow * (away * own / variance) ** 2),
    )
