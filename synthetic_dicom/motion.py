"""What moves: heart beats, breathing, and the electrocardiogram that goes with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from synthetic_dicom.quadrics import FloatArray

# Common practice, no source: atrial contraction ends about when the ventricle is excited, and the
# appendage is largest near 45 % of the R-R interval.
_SMALLEST_PHASE = 0.95
_SHARPNESS = 1.2
_BREATH_PERIOD_MS = 4200.0
_LOADING_PERIOD_MS = 9000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Beats and breathing of one loop.

    Attributes
    ----------
    r_wave_ms : tuple of float
        R waves, in ms from the first frame; the first lies before it and the last after the loop.
    fullest_ms : float
        When the slow change of filling from beat to beat peaks.
    breath_phase : float
        Phase of breathing at the first frame, in turns.
    breath_mm : float
        Largest breathing displacement in mm.
    """

    r_wave_ms: tuple[float, ...]
    fullest_ms: float
    breath_phase: float
    breath_mm: float = 1.2

    def phase(self, times_ms: ArrayLike) -> FloatArray:
        """Return the fraction of the R-R interval elapsed at each time, 0 to 1."""
        waves = np.asarray(self.r_wave_ms)
        beats = np.interp(np.asarray(times_ms, dtype=float), waves, np.arange(len(waves)))
        return np.asarray(beats % 1.0, dtype=float)

    def contraction(self, times_ms: ArrayLike) -> FloatArray:
        """Return 0 when the appendage is fullest within its beat, 1 when most contracted."""
        turn = 2.0 * np.pi * (self.phase(times_ms) - _SMALLEST_PHASE)
        floor = np.exp(-2.0 * _SHARPNESS)
        return np.asarray((np.exp(_SHARPNESS * (np.cos(turn) - 1.0)) - floor) / (1.0 - floor))

    def filling(self, times_ms: ArrayLike) -> FloatArray:
        """Return the slow change of size from beat to beat: 1 at its peak, 0.98 at its least."""
        turn = np.pi * (np.asarray(times_ms, dtype=float) - self.fullest_ms) / _LOADING_PERIOD_MS
        return np.asarray(1.0 - 0.02 * np.sin(2.0 * turn) ** 2)

    def breath(self, times_ms: ArrayLike) -> FloatArray:
        """Return the breathing displacement in mm, zero at the first frame."""
        turn = np.asarray(times_ms, dtype=float) / _BREATH_PERIOD_MS
        start = 2.0 * np.pi * self.breath_phase
        moved = np.sin(2.0 * np.pi * turn + start) - np.sin(start)
        return np.asarray(0.5 * self.breath_mm * moved)

    def visible_r_waves_ms(self, duration_ms: float) -> tuple[float, ...]:
        """Return the R waves between the first frame and the end of the loop."""
        return tuple(wave for wave in self.r_wave_ms if 0.0 <= wave <= duration_ms)


def motion_for(rng: np.random.Generator, *, duration_ms: float) -> Motion:
    """Draw beats of slightly varying length that cover a loop.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the variation.
    duration_ms : float
        Length of the loop in ms.
    """
    wave = -float(rng.uniform(250.0, 600.0))
    waves = [wave]
    while waves[-1] <= duration_ms + 1000.0:
        waves.append(round(waves[-1] + float(rng.normal(900.0, 25.0)), 3))
    return Motion(
        r_wave_ms=tuple(waves),
        fullest_ms=0.5 * duration_ms,
        breath_phase=float(rng.uniform(0.0, 1.0)),
    )


def electrocardiogram(motion: Motion, times_ms: ArrayLike) -> FloatArray:
    """Return a schematic trace, R wave 1 high: sums of Gaussian bumps, no patient's trace."""
    times = np.asarray(times_ms, dtype=float)
    waves = np.asarray(motion.r_wave_ms)
    trace = np.zeros_like(times)
    bumps = ((-160, 0.12, 24), (-22, -0.12, 9), (0, 1.0, 11), (24, -0.22, 11), (270, 0.25, 45))
    for offset_ms, height, width_ms in bumps:
        gaps = times[..., np.newaxis] - waves - offset_ms
        trace += height * np.exp(-0.5 * (gaps / width_ms) ** 2).sum(axis=-1)
    return trace
