"""A noisy curve over time as what it may have been: many curves, drawn by how well they fit.

A smooth course plus noise, both normal (a Gaussian process). The course has a time scale and may
repeat from beat to beat, in part or almost wholly; the noise may hang together over some frames,
as the errors of a tracker do. None of that is known, so all of it is tried on a grid and weighted
by the likelihood, mean and noise level integrated out. Method: Rasmussen and Williams, Gaussian
Processes for Machine Learning (2006), 2.7 and 5.4.1; from memory. Own grid. No heart keeps to such
a model, so the likelihood counts for less than it says (a tempered posterior): more settings stay
open, and curves drawn spread wider.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SCALES_MS = (60.0, 110.0, 200.0, 360.0)
NOISE_MS = (0.0, 30.0, 120.0)
# part of the course's variance that repeats with the beat
REPEATING = (0.0, 0.7, 0.95)
# standard deviation of the course over that of the noise: a heart that lies still is not among
# them, for believing it would flatten the rare narrow peak
RATIOS = np.array([0.7, 1.4, 2.8, 5.6, 11.0, 22.0, 45.0, 150.0])
# likelihoods are cheap up to here; longer loops are weighed by every second, third, … frame
MOST_WEIGHED = 160
LEAST_WEIGHT = 1e-3
# power of the likelihood; own simulation: `annot validate curve`
TRUST = 0.4
DRAWS = 1200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurveDraws:
    """What a curve may have been.

    Attributes
    ----------
    mean : ndarray, shape (frames,)
    draws : ndarray, shape (frames, draws)
        Whole curves, each as likely as the next.
    noise : float
        Standard deviation of what the frames scatter about the course, root mean square.
    """

    mean: FloatArray
    draws: FloatArray
    noise: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    scale_ms: float
    repeating: float
    noise_ms: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solved:
    """One setting on some frames, diagonal: course and noise in each other's eigenvectors.

    Arrays over ratios have shape (ratios,) or (ratios, frames).
    """

    back: FloatArray
    values: FloatArray
    ones: FloatArray
    gains: FloatArray
    means: FloatArray
    weights: FloatArray
    squares: FloatArray
    log_likelihoods: FloatArray


def draw_curve(
    values: FloatArray,
    times_ms: FloatArray,
    *,
    r_waves_ms: Sequence[float] = (),
    rng: np.random.Generator,
) -> CurveDraws:
    """Draw what a noisy curve may have been.

    Parameters
    ----------
    values, times_ms : arrays, shape (n,)
        In any unit; times forward, not necessarily even.
    r_waves_ms : sequence of float
        With two or more of them a course may repeat from beat to beat.
    """
    middle, spread = float(values.mean()), float(values.std())
    if spread <= 1e-12 * max(abs(middle), 1e-300):
        flat = np.repeat(values[:, None], DRAWS, axis=1)
        return CurveDraws(mean=values.copy(), draws=flat, noise=0.0)
    unit = (values - middle) / spread
    beats = _beats_at(times_ms, r_waves_ms)
    settings = [
        _Setting(scale_ms=scale, repeating=part, noise_ms=noise)
        for scale, part, noise in product(SCALES_MS, REPEATING if beats else (0.0,), NOISE_MS)
    ]
    chosen = _chosen(settings, unit, times_ms, beats, rng)
    drawn, squares = [], []
    for setting, counts in chosen:
        solved = _solved(setting, unit, times_ms, beats)
        for index in np.flatnonzero(counts):
            curves, variances = _drawn(solved, int(index), int(counts[index]), rng)
            drawn.append(curves)
            squares.append(variances)
    draws = middle + spread * np.hstack(drawn)
    return CurveDraws(
        mean=draws.mean(axis=1),
        draws=draws,
        noise=spread * math.sqrt(float(np.mean(np.concatenate(squares)))),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Beats:
    """Where each frame lies, in beats, and how long a beat is."""

    places: FloatArray
    length_ms: float

    def __getitem__(self, which: slice) -> "_Beats":
        return _Beats(places=self.places[which], length_ms=self.length_ms)


def _beats_at(times_ms: FloatArray, r_waves_ms: Sequence[float]) -> _Beats | None:
    if len(r_waves_ms) < 2:
        return None
    waves = np.asarray(r_waves_ms, dtype=float)
    lengths = np.diff(waves)
    # beyond the R waves beats go on as the nearest one
    before = waves[0] - lengths[0] * np.arange(math.ceil(waves[0] / lengths[0]) + 1, 0, -1)
    behind = max(times_ms[-1] - waves[-1], 0.0)
    after = waves[-1] + lengths[-1] * np.arange(1, math.ceil(behind / lengths[-1]) + 2)
    all_waves = np.concatenate([before, waves, after])
    places = np.interp(times_ms, all_waves, np.arange(all_waves.size, dtype=float))
    return _Beats(places=places, length_ms=float(np.median(lengths)))


def _chosen(
    settings: Sequence[_Setting],
    values: FloatArray,
    times_ms: FloatArray,
    beats: _Beats | None,
    rng: np.random.Generator,
) -> Iterator[tuple[_Setting, NDArray[np.int64]]]:
    """Yield each likely setting with how many curves to draw for each ratio."""
    some = slice(None, None, math.ceil(values.size / MOST_WEIGHED))
    part = beats[some] if beats else None
    logs = np.array(
        [_solved(one, values[some], times_ms[some], part).log_likelihoods for one in settings]
    )
    weights = np.exp(TRUST * (logs - logs.max()))
    weights[weights < LEAST_WEIGHT * weights.sum()] = 0.0
    counts = rng.multinomial(DRAWS, (weights / weights.sum()).ravel()).reshape(weights.shape)
    return ((one, row) for one, row in zip(settings, counts, strict=True) if row.any())


def _solved(
    setting: _Setting, values: FloatArray, times_ms: FloatArray, beats: _Beats | None
) -> _Solved:
    """Bring course and noise to diagonal form, and weigh every ratio of the two.

    With noise N = L·Lᵀ and course K, the whitened course L⁻¹·K·L⁻ᵀ has the same eigenvectors
    whatever its ratio to the noise. The mean (flat prior) and the noise's variance (1/σ²) are
    integrated out.
    """
    apart = np.abs(times_ms[:, None] - times_ms)
    count = values.size
    noise = np.eye(count) if setting.noise_ms == 0 else np.exp(-apart / setting.noise_ms)
    lower = np.linalg.cholesky(noise)
    white = np.linalg.inv(lower)
    course = white @ _course(setting, apart, beats) @ white.T
    strengths, vectors = np.linalg.eigh(course)
    turn = vectors.T @ white
    seen, ones = turn @ values, turn.sum(axis=1)
    signal = RATIOS[:, None] ** 2 * np.maximum(strengths, 0.0)
    total = 1.0 + signal
    weights = (ones**2 / total).sum(axis=1)
    means = (seen * ones / total).sum(axis=1) / weights
    squares = (seen**2 / total).sum(axis=1) - means**2 * weights
    # values as even as numbers can be would have no noise at all
    squares = np.maximum(squares, count * 1e-16)
    logs = -0.5 * (
        2.0 * np.log(np.diag(lower)).sum()
        + np.log(total).sum(axis=1)
        + np.log(weights)
        + (count - 1) * np.log(squares)
    )
    return _Solved(
        back=lower @ vectors,
        values=seen,
        ones=ones,
        gains=signal / total,
        means=means,
        weights=weights,
        squares=squares,
        log_likelihoods=logs,
    )


def _course(setting: _Setting, apart: FloatArray, beats: _Beats | None) -> FloatArray:
    """Return how much two moments have in common, 1 at most (Matérn, twice differentiable)."""
    along = _matern(apart / setting.scale_ms)
    if beats is None or setting.repeating == 0:
        return along
    turned = np.abs(np.sin(np.pi * (beats.places[:, None] - beats.places)))
    within = _matern(turned * beats.length_ms / np.pi / setting.scale_ms)
    return np.asarray((1.0 - setting.repeating) * along + setting.repeating * within)


def _matern(apart: FloatArray) -> FloatArray:
    steps = math.sqrt(5.0) * apart
    return np.asarray((1.0 + steps + steps**2 / 3.0) * np.exp(-steps))


def _drawn(
    solved: _Solved, ratio: int, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return curves, shape (frames, count), and the variance of the noise about each."""
    freedom = solved.values.size - 1
    variances = solved.squares[ratio] / rng.chisquare(freedom, count)
    means = solved.means[ratio] + rng.standard_normal(count) * np.sqrt(
        variances / solved.weights[ratio]
    )
    gains = solved.gains[ratio][:, None]
    course = gains * (solved.values[:, None] - solved.ones[:, None] * means)
    course += np.sqrt(gains * variances) * rng.standard_normal((solved.values.size, count))
    return np.asarray(solved.back @ course + means), variances
