"""The largest of a noisy curve: smoothed, and freed of what noise and smoothing add to it.

The largest of noisy values reads high, and smoothing lowers a sharp top. Both are found by
repeating the whole way on curves whose top is known: the smoothed curve itself with the noise
that was seen, drawn again and again. The method is a parametric bootstrap; own solution. Where a
curve moves by no more than its noise, some of the bias stays and intervals hold less often than
they state: tests/unit/measurement/test_derived_and_cycle.py shows how much.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

WINDOW_MS = 160.0
LEAST_FRAMES = 5
DRAWS = 4000
NESTED = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """The largest of a curve.

    Attributes
    ----------
    index : int
        Of the frame nearest to it.
    value, u : float
        Corrected; `u` holds the noise's spread and, as the correction falls short of all of it,
        once more what was removed.
    bias_removed : float
        What noise and smoothing had added, taken off.
    """

    index: int
    value: float
    u: float
    bias_removed: float


def smoother_of(times_ms: FloatArray) -> FloatArray:
    """Return the matrix that smooths values at these times: local parabolas.

    Each row fits a parabola to the frames within `WINDOW_MS`, at least `LEAST_FRAMES` of them,
    weights falling off to the window's rim (tricube).
    """
    count = times_ms.size
    matrix = np.zeros((count, count))
    for index, now in enumerate(times_ms):
        away = np.abs(times_ms - now)
        reach = max(WINDOW_MS, float(np.sort(away)[min(LEAST_FRAMES, count) - 1]) * 1.001)
        near = away <= reach
        weights = (1.0 - (away[near] / (1.15 * reach)) ** 3) ** 3
        steps = (times_ms[near] - now) / reach
        design = np.vander(steps, min(3, int(near.sum())), increasing=True)
        root = np.sqrt(weights)[:, None]
        matrix[index, near] = (np.linalg.pinv(design * root) * root.T)[0]
    return matrix


def noise_of(values: FloatArray, smoother: FloatArray) -> float:
    """Return the noise's standard deviation from what smoothing takes away.

    The residuals' expected square is that of the noise times ‖(1 − S)‖² of their rows.
    """
    rest = values - smoother @ values
    kept = float(((np.eye(values.size) - smoother) ** 2).sum())
    return float(np.sqrt((rest**2).sum() / kept)) if kept > 1e-9 else 0.0


def peak_of(
    values: FloatArray, times_ms: FloatArray, *, span: slice, rng: np.random.Generator
) -> Peak:
    """Return the largest within a span of a curve.

    Parameters
    ----------
    values, times_ms : arrays, shape (n,)
        The whole curve; what lies beside the span helps to smooth.
    span : slice
        One beat, or all.
    rng : numpy.random.Generator
        For the repeated draws; state its seed.
    """
    smoother = smoother_of(times_ms)
    curve = smoother @ values
    noise = noise_of(values, smoother)
    tops, curves = _again(curve[:, None], smoother, span, noise, rng)
    first = float(tops.mean() - curve[span].max())
    # the same estimate on curves that are as bumpy as ours says how short it falls
    seconds = curves[:, :NESTED]
    nested, _ = _again(seconds, smoother, span, noise, rng)
    known = seconds[span].max(axis=0)
    short = first - float((nested.reshape(NESTED, -1).mean(axis=1) - known).mean())
    bias = first + short
    return Peak(
        index=int(np.argmax(curve[span])) + (span.start or 0),
        value=float(curve[span].max()) - bias,
        u=float(np.hypot(tops.std(ddof=1), bias)),
        bias_removed=bias,
    )


def _again(
    truths: FloatArray,
    smoother: FloatArray,
    span: slice,
    noise: float,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Draw noisy curves about each truth and return their tops and the smoothed curves."""
    each = DRAWS // truths.shape[1]
    repeated = np.repeat(truths, each, axis=1)
    curves = smoother @ (repeated + noise * rng.standard_normal(repeated.shape))
    return curves[span].max(axis=0), curves
