"""Least squares of one tube shadow against many sections: shared shape, own centre each."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_sections import Sections, flank_of

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]

# Weak knowledge that keeps the fit physical where the picture says little; mean and standard
# deviation. Common practice, no source: a wall takes a tenth to a quarter of the diameter, and
# scatter and glare add 0 to 50 % to the primary beam.
LUMEN_RATIO_PRIOR = (0.70, 0.10)
PRIMARY_SHARE_PRIOR = (0.80, 0.20)

# A thread of denser material in the wall: log of its shadow's own standard deviation over the
# outer diameter. It fits into a wall of some 0.15 diameters. Common practice, no source.
THREAD_WIDTH_PRIOR = (math.log(0.04), 0.4)

# The shared unknowns: log outer, log blur, lumen ratio, log wall depth; then, where they act,
# lumen depth, and a thread's place across the shaft in outer radii with its log width.
SHARED = 7
LUMEN_RATIO, LUMEN_DEPTH, THREAD_PLACE, THREAD_WIDTH = 2, 4, 5, 6
START = np.array([0.0, np.log(1.2), 0.7, np.log(0.3), 0.1, 0.0, THREAD_WIDTH_PRIOR[0]])
LOWEST = np.array([0.0, np.log(0.3), 0.3, np.log(1e-3), 0.0, -0.95, np.log(0.005)])
HIGHEST = np.array([0.0, np.log(8.0), 0.95, np.log(8.0), 8.0, 0.95, np.log(0.15)])


def fit_priors() -> dict[str, tuple[float, float]]:
    """Return the weak knowledge that every fit rests on, mean and standard deviation by name."""
    return {
        "lumen_ratio": LUMEN_RATIO_PRIOR,
        "primary_share": PRIMARY_SHARE_PRIOR,
        "log_thread_width": THREAD_WIDTH_PRIOR,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSolution:
    """Shared unknowns, a centre per section of the input, noise and covariance of the former."""

    shared: FloatArray
    centre: FloatArray
    noise: float
    covariance: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeFit:
    """The problem: sections, whether the lumen is empty, and what is known of the wall.

    Depth of shadow and a background of second degree are linear and solved inside each section.
    """

    sections: Sections
    lumen_is_empty: bool
    with_thread: bool = False
    lumen_ratio: tuple[float, float] = LUMEN_RATIO_PRIOR

    @property
    def across(self) -> tuple[float, float]:
        """Return the usual direction across the shaft, (row, column), both without sign."""
        row, column = np.sqrt(np.mean(self.sections.normal**2, axis=0))
        return float(row), float(column)

    @property
    def active(self) -> IndexArray:
        """Return which of the shared unknowns this fit has."""
        lumen = [] if self.lumen_is_empty else [LUMEN_DEPTH]
        thread = [THREAD_PLACE, THREAD_WIDTH] if self.with_thread else []
        return np.array([0, 1, 2, 3, *lumen, *thread])

    @property
    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Return the widest values that the shared unknowns may take."""
        low, high = LOWEST.copy(), HIGHEST.copy()
        low[0] = np.log(max(1.5, 0.5 * self.sections.width_px))
        high[0] = np.log(2.2 * self.sections.width_px)
        return low, high

    def tube(self, shared: FloatArray) -> TubeShadow:
        """Return the tube that the shared unknowns describe."""
        return TubeShadow(
            outer_px=float(np.exp(shared[0])),
            blur_px=float(np.exp(shared[1])),
            lumen_ratio=float(shared[2]),
            wall_depth=float(np.exp(shared[3])),
            lumen_depth=0.0 if self.lumen_is_empty else float(shared[LUMEN_DEPTH]),
            across=self.across,
        )

    def fitted(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return model profiles (k, m) and depths of shadow (k,) of the kept sections."""
        offset = self.sections.offset_px
        across = offset[None, :] - centre[:, None]
        shadow = self.tube(shared).absorbed(across)
        ones = np.ones_like(shadow)
        slope = ones * offset / offset[-1]
        columns = [-shadow, ones, slope, slope**2]
        if self.with_thread:
            columns.append(-_thread(across, shared))
        basis = np.stack(columns, axis=2)
        normal = np.einsum("kmi,kmj->kij", basis, basis) + 1e-9 * np.eye(len(columns))
        right = np.einsum("kmi,km->ki", basis, self.sections.profile[kept])
        weights = np.linalg.solve(normal, right[..., None])[..., 0]
        return np.einsum("kmi,ki->km", basis, weights), weights[:, 0]

    def misfit(self, shared: FloatArray, centre: FloatArray, kept: IndexArray) -> FloatArray:
        """Return model less picture, (k, m)."""
        return self.fitted(shared, centre, kept)[0] - self.sections.profile[kept]

    def residuals(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray, noise: float
    ) -> FloatArray:
        """Return misfits in units of the noise, followed by the prior knowledge's own."""
        model, amplitude = self.fitted(shared, centre, kept)
        misfit = (model - self.sections.profile[kept]) / noise
        ratio = (shared[LUMEN_RATIO] - self.lumen_ratio[0]) / self.lumen_ratio[1]
        thread = (shared[THREAD_WIDTH] - THREAD_WIDTH_PRIOR[0]) / THREAD_WIDTH_PRIOR[1]
        mean, spread = PRIMARY_SHARE_PRIOR
        # one statement about the whole picture, spread over the sections it is made of
        share = (np.abs(amplitude) - mean) / spread / np.sqrt(len(kept))
        return np.concatenate([misfit.ravel(), share, [ratio, thread]])

    def solve(
        self, kept: IndexArray, *, start: TubeSolution | None = None, turns: int = 4
    ) -> TubeSolution:
        """Fit the kept sections: centres and shape in turns, as symmetry keeps them apart."""
        now = self.first_guess() if start is None else start
        for _ in range(turns):
            centre = now.centre.copy()
            for _ in range(2):
                centre[kept] = self._centred(now.shared, centre[kept], kept)
            now = self._shaped(now, centre, kept)
        return now

    def reshaped(self, kept: IndexArray, start: TubeSolution) -> TubeSolution:
        """Fit the shape alone to the kept sections, centres and noise as they stand."""
        return self._shaped(start, start.centre, kept)

    def covariance_at(
        self, lumen_ratio: float, solution: TubeSolution, kept: IndexArray
    ) -> FloatArray:
        """Return the covariance the fit would state had it ended at that lumen ratio."""
        from scipy.optimize import approx_fprime, least_squares

        others = np.delete(self.active, LUMEN_RATIO)
        base = solution.shared.copy()
        base[LUMEN_RATIO] = lumen_ratio

        def of(indices: IndexArray, vector: FloatArray) -> FloatArray:
            shared = base.copy()
            shared[indices] = vector
            return self.residuals(shared, solution.centre[kept], kept, solution.noise)

        low, high = self.bounds
        answer = least_squares(
            lambda vector: of(others, vector),
            np.clip(base, low + 1e-6, high - 1e-6)[others],
            bounds=(low[others], high[others]),
            x_scale="jac",
            diff_step=1e-4,
            max_nfev=20,
        )
        base[others] = answer.x
        slopes = approx_fprime(base[self.active], lambda vector: of(self.active, vector), 1e-4)
        return self._covariance(slopes)

    def _centred(self, shared: FloatArray, centre: FloatArray, kept: IndexArray) -> FloatArray:
        """Move every centre to the bottom of the parabola through three sums of squares."""
        step = 0.2
        left, here, right = (
            np.sum(self.misfit(shared, centre + shift, kept) ** 2, axis=1)
            for shift in (-step, 0.0, step)
        )
        bend = np.maximum(left - 2 * here + right, 1e-12)
        reach = 0.75 * self.sections.width_px + 2.0
        moved = centre + np.clip(step / 2 * (left - right) / bend, -2.0, 2.0)
        return np.asarray(np.clip(moved, -reach, reach))

    def _shaped(self, before: TubeSolution, centre: FloatArray, kept: IndexArray) -> TubeSolution:
        from scipy.optimize import least_squares

        active, (low, high) = self.active, self.bounds

        def of_active(vector: FloatArray) -> FloatArray:
            shared = before.shared.copy()
            shared[active] = vector
            return self.residuals(shared, centre[kept], kept, before.noise)

        answer = least_squares(
            of_active,
            np.clip(before.shared, low + 1e-6, high - 1e-6)[active],
            bounds=(low[active], high[active]),
            x_scale="jac",
            diff_step=1e-4,
            xtol=1e-6,
            ftol=1e-7,
            max_nfev=30,
        )
        shared = before.shared.copy()
        shared[active] = answer.x
        noise = float(np.sqrt(np.mean(self.misfit(shared, centre[kept], kept) ** 2)))
        return TubeSolution(
            shared=shared,
            centre=centre,
            noise=max(noise, 1e-6),
            covariance=self._covariance(answer.jac),
        )

    def _covariance(self, slopes: FloatArray) -> FloatArray:
        """Return the covariance of the shared unknowns, zero for those the fit does not have."""
        size = np.linalg.norm(slopes, axis=0)
        size[size == 0] = 1.0
        scaled = slopes / size
        covariance = np.zeros((SHARED, SHARED))
        covariance[np.ix_(self.active, self.active)] = np.linalg.pinv(
            scaled.T @ scaled, rcond=1e-12
        ) / np.outer(size, size)
        return covariance

    def first_guess(self) -> TubeSolution:
        """Start from the width seen, a usual blur and a half-transparent wall."""
        flank = flank_of(self.sections.offset_px, self.sections.width_px)
        noise = max(float(np.std(self.sections.profile[:, flank] - 1.0)), 1e-6)
        shared = START.copy()
        shared[0] = np.log(1.1 * self.sections.width_px)
        shared[LUMEN_RATIO] = self.lumen_ratio[0]
        return TubeSolution(
            shared=shared,
            centre=np.zeros(len(self.sections.profile)),
            noise=noise,
            covariance=np.zeros((SHARED, SHARED)),
        )


def with_thread(
    fit: TubeFit, plain: TubeSolution, kept: IndexArray
) -> tuple[TubeFit, TubeSolution]:
    """Return the fit with a denser thread in the wall if the picture shows one, else the plain fit.

    The thread's place is sought on a grid. It has one depth per section, so by chance alone the
    sum of squares falls by about one per section; a fall beyond five standard deviations of that
    counts as seen.
    """
    threaded = replace(fit, with_thread=True)
    starts = []
    for place in np.linspace(-0.9, 0.9, 13):
        shared = plain.shared.copy()
        shared[THREAD_PLACE] = place
        starts.append(replace(plain, shared=shared))
    costs = [
        float(np.sum(threaded.misfit(one.shared, one.centre[kept], kept) ** 2)) for one in starts
    ]
    before = float(np.sum(fit.misfit(plain.shared, plain.centre[kept], kept) ** 2))
    chance = len(kept) + len(starts)
    if (before - min(costs)) / plain.noise**2 < chance + 5 * np.sqrt(2 * chance):
        return fit, plain
    return threaded, threaded.solve(kept, start=starts[int(np.argmin(costs))], turns=8)


def _thread(across: FloatArray, shared: FloatArray) -> FloatArray:
    """Return the shadow of a thin dense thread at its place across the shaft, depth one."""
    outer, blur = np.exp(shared[0]), np.exp(shared[1])
    width = np.hypot(blur, np.exp(shared[THREAD_WIDTH]) * outer)
    return np.asarray(np.exp(-(((across - shared[THREAD_PLACE] * outer / 2) / width) ** 2) / 2))
