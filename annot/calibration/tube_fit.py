"""Least squares of one tube shadow against many sections: shared shape, own centre each."""

from dataclasses import dataclass

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

# The shared unknowns: log outer, log blur, lumen ratio, log wall depth, lumen depth.
SHARED = 5
LOWEST = np.array([np.log(1.5), np.log(0.3), 0.3, np.log(1e-3), 0.0])
HIGHEST = np.array([np.log(120.0), np.log(8.0), 0.95, np.log(8.0), 8.0])


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

    Background and depth of shadow are linear and solved inside each section.
    """

    sections: Sections
    lumen_is_empty: bool
    lumen_ratio: tuple[float, float] = LUMEN_RATIO_PRIOR

    def tube(self, shared: FloatArray) -> TubeShadow:
        """Return the tube that the shared unknowns describe."""
        return TubeShadow(
            outer_px=float(np.exp(shared[0])),
            blur_px=float(np.exp(shared[1])),
            lumen_ratio=float(shared[2]),
            wall_depth=float(np.exp(shared[3])),
            lumen_depth=0.0 if self.lumen_is_empty else float(shared[4]),
        )

    def fitted(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return model profiles (k, m) and depths of shadow (k,) of the kept sections."""
        offset = self.sections.offset_px
        shadow = self.tube(shared).absorbed(offset[None, :] - centre[:, None])
        ones = np.ones_like(shadow)
        basis = np.stack([ones, ones * offset / offset[-1], -shadow], axis=2)
        normal = np.einsum("kmi,kmj->kij", basis, basis) + 1e-9 * np.eye(3)
        right = np.einsum("kmi,km->ki", basis, self.sections.profile[kept])
        weights = np.linalg.solve(normal, right[..., None])[..., 0]
        return np.einsum("kmi,ki->km", basis, weights), weights[:, 2]

    def misfit(self, shared: FloatArray, centre: FloatArray, kept: IndexArray) -> FloatArray:
        """Return model less picture, (k, m)."""
        return self.fitted(shared, centre, kept)[0] - self.sections.profile[kept]

    def residuals(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray, noise: float
    ) -> FloatArray:
        """Return misfits in units of the noise, followed by the prior knowledge's own."""
        model, amplitude = self.fitted(shared, centre, kept)
        misfit = (model - self.sections.profile[kept]) / noise
        ratio = (shared[2] - self.lumen_ratio[0]) / self.lumen_ratio[1]
        mean, spread = PRIMARY_SHARE_PRIOR
        # one statement about the whole picture, spread over the sections it is made of
        share = (np.abs(amplitude) - mean) / spread / np.sqrt(len(kept))
        return np.concatenate([misfit.ravel(), share, [ratio]])

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

        answer = least_squares(
            self.residuals,
            np.clip(before.shared, LOWEST + 1e-6, HIGHEST - 1e-6),
            args=(centre[kept], kept, before.noise),
            bounds=(LOWEST, HIGHEST),
            x_scale="jac",
            diff_step=1e-4,
            xtol=1e-7,
            ftol=1e-7,
            max_nfev=30,
        )
        noise = float(np.sqrt(np.mean(self.misfit(answer.x, centre[kept], kept) ** 2)))
        return TubeSolution(
            shared=answer.x,
            centre=centre,
            noise=max(noise, 1e-6),
            covariance=self._covariance(answer.jac),
        )

    def _covariance(self, slopes: FloatArray) -> FloatArray:
        """Return the covariance of the shared unknowns; an empty lumen's depth is not one."""
        used = SHARED - 1 if self.lumen_is_empty else SHARED
        size = np.linalg.norm(slopes[:, :used], axis=0)
        size[size == 0] = 1.0
        scaled = slopes[:, :used] / size
        covariance = np.zeros((SHARED, SHARED))
        covariance[:used, :used] = np.linalg.pinv(scaled.T @ scaled, rcond=1e-12) / np.outer(
            size, size
        )
        return covariance

    def first_guess(self) -> TubeSolution:
        """Start from the width seen, a usual blur and a half-transparent wall."""
        flank = flank_of(self.sections.offset_px, self.sections.width_px)
        noise = max(float(np.std(self.sections.profile[:, flank] - 1.0)), 1e-6)
        width = 1.1 * self.sections.width_px
        return TubeSolution(
            shared=np.array([np.log(width), np.log(1.2), self.lumen_ratio[0], np.log(0.3), 0.1]),
            centre=np.zeros(len(self.sections.profile)),
            noise=noise,
            covariance=np.zeros((SHARED, SHARED)),
        )
