"""The largest of a noisy curve over a span, freed of what noise and smoothing add to it.

The largest of noisy values reads high, and a smoothed top low. By how much depends on what the
true curve does elsewhere: whether other moments tie with the top, lie below it, or are bumps of
their own. All three are computed from curves that may have been (`curve_process`), and as nobody
knows which holds, the answer is a third of each: its mean is the value, its spread the
uncertainty. Own method; `annot validate curve` counts how often the interval holds the truth.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.measurement.curve_process import CurveDraws

FloatArray = NDArray[np.float64]
LEAST_FRAMES = 5
# moments whose mean lies within so many of its uncertainty below the top's may tie with it
TIES_WITHIN = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """The largest of a curve.

    Attributes
    ----------
    index : int
        Of the frame nearest to it.
    value, u : float
        Freed of what noise and smoothing add; `u` holds the noise's spread and how much of the
        correction is in doubt.
    """

    index: int
    value: float
    u: float


def largest_of(curve: CurveDraws, span: slice) -> Peak:
    """Return the largest within a span, between frames too.

    If all that come near tie with the top, it reads high as the largest of their errors does; if
    none does, it reads as any frame does; if the curves drawn are right in every bump, the largest
    of each of them is the answer.
    """
    mean, draws = curve.mean[span], curve.draws[span]
    errors = draws - mean[:, None]
    index = int(np.argmax(mean))
    top = float(_tops(mean[:, None])[0])
    near = mean >= mean[index] - TIES_WITHIN * float(errors[index].std())
    third = draws.shape[1] // 3
    found = np.concatenate(
        [
            top - errors[near, :third].max(axis=0),
            top - errors[index, third : 2 * third],
            _tops(draws[:, 2 * third :]),
        ]
    )
    return Peak(
        index=index + (span.start or 0), value=float(found.mean()), u=float(found.std(ddof=1))
    )


def smallest_of(curve: CurveDraws, span: slice) -> Peak:
    """Return the smallest within a span."""
    turned = CurveDraws(mean=-curve.mean, draws=-curve.draws, noise=curve.noise)
    found = largest_of(turned, span)
    return Peak(index=found.index, value=-found.value, u=found.u)


def _tops(curves: FloatArray) -> FloatArray:
    """Return each curve's largest, by the parabola through its highest frame and both beside it."""
    count = curves.shape[0]
    if count < 3:
        return np.asarray(curves.max(axis=0))
    which = curves.argmax(axis=0)
    inner = np.clip(which, 1, count - 2)
    columns = np.arange(curves.shape[1])
    before, here, after = (curves[inner + step, columns] for step in (-1, 0, 1))
    bend = before - 2 * here + after
    round_top = (inner == which) & (bend < 0)
    more = np.where(round_top, (after - before) ** 2 / (-8.0 * np.where(round_top, bend, -1.0)), 0)
    return np.asarray(curves[which, columns] + more)
