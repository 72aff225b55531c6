"""A line of denser material in a shaft's wall, or a wire that runs along beside it.

Both are one thing to the fit: a narrow shadow at a place across the shaft, of a depth that each
section has for itself. A stripe lies within the outer radius, a wire may lie outside of it; taken
for a part of the tube it would make the tube wider.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from annot.calibration.allowances import THREAD_WIDTH, THREAD_WIDTH_LOG
from annot.calibration.tube_fit import (
    OUTER,
    THREAD_AT,
    THREAD_LOG,
    FloatArray,
    IndexArray,
    TubeFit,
    TubeSolution,
    thread_of,
)

PLACES = np.linspace(-0.9, 0.9, 13)
NARROWER = (0.85, 0.7)  # how much narrower a tube beside a wire may be than both together
TURNS = 6
TOO_BROAD = 2.0  # standard uncertainties of the logarithm of a thread's width
AS_GOOD = 8.0  # in squared misfit over noise: an explanation within four standard deviations
TOO_FAR = 0.05  # relative difference in diameter between explanations that no interval mends
SEEN = 5.0  # standard deviations of what chance alone explains


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadAnswer:
    """The fit to go on with, and whether others explain the picture as well by another size."""

    fit: TubeFit
    solution: TubeSolution
    is_ambiguous: bool = False
    apart: float = 0.0


def with_thread(fit: TubeFit, plain: TubeSolution, kept: IndexArray) -> ThreadAnswer:
    """Return the fit with a thread in or beside the wall if the picture shows one, else the plain.

    It has one depth per section, so by chance alone the sum of squares falls by about one per
    section; a fall beyond five standard deviations of that counts as seen. Its place is sought from
    a grid inside the tube, and beside a narrower tube on either side.
    """
    fall = _falls(fit, plain, kept)
    chance = len(kept) + len(PLACES)
    if fall.max() < chance + SEEN * np.sqrt(2 * chance):
        return ThreadAnswer(fit=fit, solution=plain)
    threaded = replace(fit, held=replace(fit.held, with_thread=True))
    inside = plain.shared.copy()
    inside[THREAD_AT] = PLACES[int(np.argmax(fall))]
    starts = [replace(plain, shared=inside)]
    starts += [_beside(plain, share, side) for share in NARROWER for side in (-1.0, 1.0)]
    found = [threaded.solve(kept, start=one, turns=TURNS) for one in starts]
    found = [one for one in found if _is_denser(threaded, one, kept)]
    if not found:
        return ThreadAnswer(fit=fit, solution=plain)
    best = min(found, key=lambda one: one.cost)
    others = [one for one in found if 2 * (one.cost - best.cost) <= AS_GOOD]
    apart = float(np.ptp([one.shared[OUTER] for one in others]))
    # explanations may differ by what the interval holds anyway, more so where the wall is unknown
    loosest = max(float(np.sqrt(one.covariance[OUTER, OUTER])) for one in others)
    allowed = max(TOO_FAR, 2 * loosest)
    return ThreadAnswer(
        fit=threaded,
        solution=best,
        is_ambiguous=apart > allowed or _is_too_broad(best),
        apart=apart,
    )


def _is_too_broad(found: TubeSolution) -> bool:
    """Tell whether what lies inside the tube is too broad for a thread in its wall.

    A tube and a wire beside it, taken for one wide tube, leave the middle of the true one as such a
    thread.
    """
    broad = math.log(THREAD_WIDTH.value) + TOO_BROAD * THREAD_WIDTH_LOG.value
    return bool(abs(found.shared[THREAD_AT]) < 1.0 and found.shared[THREAD_LOG] > broad)


def _falls(fit: TubeFit, plain: TubeSolution, kept: IndexArray) -> FloatArray:
    """Return by how much a thread at each place would lower the sum of squares."""
    # a picture of hardly any noise misses the model by the model's own error, which no thread is
    noise = max(plain.rms, plain.noise)
    found = fit.project(plain.shared, plain.centre[kept], kept, noise)
    across = fit.sections.offset_px[None, :] - plain.centre[kept][:, None]
    places = np.tile(plain.shared, (len(PLACES), 1))
    places[:, THREAD_AT] = PLACES
    shadows = np.stack([thread_of(across, one)[0] for one in places], axis=2)
    shadows = np.pad(shadows, ((0, 0), (0, 1), (0, 0)))
    free = shadows - found.basis @ (found.solver @ shadows)
    falls = np.einsum("kmq,km->kq", free, found.misfit) ** 2 / np.sum(free**2, axis=1)
    return np.asarray(falls.sum(axis=0), dtype=np.float64)


def _beside(plain: TubeSolution, share: float, side: float) -> TubeSolution:
    """Return a start with a narrower tube at one edge of the shadow and a thread at the other."""
    radius = float(np.exp(plain.shared[OUTER])) / 2
    shift = (1.0 - share) * radius
    shared = plain.shared.copy()
    shared[OUTER] += np.log(share)
    shared[THREAD_AT] = side * (0.85 * radius + shift) / (share * radius)
    return replace(plain, shared=shared, centre=plain.centre - side * shift)


def _is_denser(fit: TubeFit, found: TubeSolution, kept: IndexArray) -> bool:
    """Tell whether the thread absorbs; one that lets more light through is no thread."""
    weights = fit.project(found.shared, found.centre[kept], kept, found.noise).weights
    return float(np.median(weights[:, 5])) > 0
