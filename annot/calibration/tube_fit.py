"""Least squares of one tube shadow against many sections: shared shape, own centre each.

Variable projection: depth of shadow, background, a small shift and a thread's depth are linear in
each section and solved there (Golub and Pereyra 1973, slopes as Kaufman 1975, both from memory), so
the search runs over the few shared unknowns only, with exact slopes.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    BLUR_LOG,
    BLUR_PX,
    GLARE_SHARE_U,
    LUMEN_DEPTH,
    LUMEN_DEPTH_LOG,
    PRIMARY_SHARE,
    PRIMARY_SHARE_U,
    THREAD_WIDTH,
    THREAD_WIDTH_LOG,
    WALL_DEPTH,
    WALL_DEPTH_LOG,
)
from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_sections import Sections
from annot.calibration.tube_profile import (
    BY_GLARE,
    BY_LOG_BLUR,
    BY_LOG_LUMEN,
    BY_LOG_OUTER,
    BY_LOG_WALL,
    BY_OFFSET,
    BY_RATIO,
    VALUE,
    ThreadShadow,
    thread_shadow,
    tube_profile,
)

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.intp]

# The shared unknowns: log outer, log blur, lumen ratio, log wall depth; then, where they act,
# log lumen depth, the share of glare, and a thread's place across the shaft in outer radii with
# its log width.
SHARED = 8
OUTER, BLUR, RATIO, WALL, LUMEN, GLARE, THREAD_AT, THREAD_LOG = range(SHARED)
SLOPES = (BY_LOG_OUTER, BY_LOG_BLUR, BY_RATIO, BY_LOG_WALL, BY_LOG_LUMEN, BY_GLARE)
LOWEST = np.array([0.0, np.log(0.3), 0.02, np.log(1e-3), np.log(1e-2), -0.02, -2.0, np.log(0.005)])
HIGHEST = np.array([0.0, np.log(8.0), 0.98, np.log(8.0), np.log(8.0), 0.6, 2.0, np.log(0.15)])
FARTHEST_SHIFT_PX = 2.0  # a section's centre moves no farther in one turn
RIDGE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a fit takes as known: which unknowns act, and what is known of the wall.

    Attributes
    ----------
    lumen_is_empty : bool
        The lumen attenuates as the surroundings do.
    lumen_ratio : (float, float)
        Inner over outer diameter and its standard uncertainty; zero holds it fast.
    with_thread : bool
        A thread of denser material lies in the wall.
    with_glare : bool
        A share of the blur may be wide (glare). Without it, a faint wall imitates the tails.
    primary_share : (float, float)
        Share of primary beam in the light beside the tube, and its standard uncertainty.
    """

    lumen_is_empty: bool
    lumen_ratio: tuple[float, float]
    with_thread: bool = False
    with_glare: bool = False
    primary_share: tuple[float, float] = (PRIMARY_SHARE.value, PRIMARY_SHARE_U.value)

    @property
    def active(self) -> IndexArray:
        """Return which of the shared unknowns are fitted."""
        ratio = [RATIO] if self.lumen_ratio[1] > 0 else []
        lumen = [] if self.lumen_is_empty else [LUMEN]
        glare = [GLARE] if self.with_glare else []
        thread = [THREAD_AT, THREAD_LOG] if self.with_thread else []
        return np.array([OUTER, BLUR, *ratio, WALL, *lumen, *glare, *thread])


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSolution:
    """Where a fit ended.

    Attributes
    ----------
    shared : array, shape (8,)
    centre : array, shape (k,)
        Offset of each section's axis, of all sections.
    noise, rms : float
        Noise of a sample that the fit was weighted by, and root mean square of the misfit found.
    covariance : array, shape (8, 8)
        Of the shared unknowns, zero where they do not act.
    cost : float
        Half the sum of squares in units of the noise that the fit was given, knowledge included.
    """

    shared: FloatArray
    centre: FloatArray
    noise: float
    rms: float
    covariance: FloatArray
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Projected:
    """Sections after their linear unknowns are solved.

    `misfit` (k, m+1) and `slopes` (p, k, m+1) carry one column more than the picture: what is known
    of the share of primary beam. `weights` (k, L) are the linear unknowns, `model` (k, m); `basis`
    (k, m+1, L) and `solver` (k, L, m+1) take them out of anything else.
    """

    misfit: FloatArray
    slopes: FloatArray
    weights: FloatArray
    model: FloatArray
    basis: FloatArray
    solver: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeFit:
    """The problem: sections of one shaft and what is held."""

    sections: Sections
    held: Held

    @property
    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Return the widest values that the shared unknowns may take."""
        low, high = LOWEST.copy(), HIGHEST.copy()
        low[OUTER] = np.log(max(1.5, 0.5 * self.sections.width_px))
        high[OUTER] = np.log(2.2 * self.sections.width_px)
        return low, high

    def tube(self, shared: FloatArray) -> TubeShadow:
        """Return the tube that the shared unknowns describe."""
        return TubeShadow(
            outer_px=float(np.exp(shared[OUTER])),
            blur_px=float(np.exp(shared[BLUR])),
            lumen_ratio=float(shared[RATIO]),
            wall_depth=float(np.exp(shared[WALL])),
            lumen_depth=0.0 if self.held.lumen_is_empty else float(np.exp(shared[LUMEN])),
            glare=float(shared[GLARE]) if self.held.with_glare else 0.0,
            across=self.sections.across,
        )

    def project(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray, noise: float
    ) -> Projected:
        """Solve every kept section's linear unknowns at these shared ones."""
        across = self.sections.offset_px[None, :] - centre[:, None]
        table = tube_profile(self.tube(shared), float(np.max(np.abs(across)))).at(across)
        thread = thread_of(across, shared) if self.held.with_thread else None
        # one statement about the whole picture, spread over the sections it is made of
        share, u_share = self.held.primary_share
        known = noise / (u_share * math.sqrt(len(kept)))
        basis = self._basis(table, None if thread is None else thread[0], known)
        profile = self.sections.profile[kept]
        target = np.pad(profile, ((0, 0), (0, 1)), constant_values=known * share)
        turned = np.swapaxes(basis, 1, 2)
        inverse = np.linalg.inv(turned @ basis + RIDGE * np.eye(basis.shape[2]))
        solver = inverse @ turned
        weights = (solver @ target[..., None])[..., 0]
        raw = np.zeros((*target.shape, len(self.held.active)))
        for column, one in enumerate(self.held.active[self.held.active <= GLARE]):
            raw[:, :-1, column] = -weights[:, :1] * table[SLOPES[one]]
        if thread is not None:
            raw[:, :-1, -2] = -weights[:, 5:] * thread[1]
            raw[:, :-1, -1] = -weights[:, 5:] * thread[2]
        model = (basis @ weights[..., None])[..., 0]
        return Projected(
            misfit=(model - target) / noise,
            slopes=(raw - basis @ (solver @ raw)) / noise,
            weights=weights,
            model=model[:, :-1],
            basis=basis,
            solver=solver,
        )

    def _basis(self, table: FloatArray, thread: FloatArray | None, known: float) -> FloatArray:
        """Return what is linear in a section: depth, background, a shift, a thread (k, m+1, L)."""
        offset = self.sections.offset_px / self.sections.offset_px[-1]
        basis = np.zeros((table.shape[1], table.shape[2] + 1, 5 if thread is None else 6))
        basis[:, :-1, 0] = -table[VALUE]
        basis[:, :-1, 1] = 1.0
        basis[:, :-1, 2] = offset
        basis[:, :-1, 3] = offset**2
        basis[:, :-1, 4] = table[BY_OFFSET]
        if thread is not None:
            basis[:, :-1, 5] = -thread
        basis[:, -1, 0] = known
        return basis

    def fitted(self, solution: TubeSolution, kept: IndexArray) -> tuple[FloatArray, FloatArray]:
        """Return model profiles (k, m) and depths of shadow (k,) of the kept sections."""
        found = self.project(solution.shared, solution.centre[kept], kept, solution.noise)
        return found.model, found.weights[:, 0]

    def misfit(self, solution: TubeSolution, kept: IndexArray) -> FloatArray:
        """Return model less picture, (k, m)."""
        return self.fitted(solution, kept)[0] - self.sections.profile[kept]

    def solve(
        self, kept: IndexArray, *, start: TubeSolution | None = None, turns: int = 3
    ) -> TubeSolution:
        """Fit the kept sections: shape by least squares, centres by the shift it leaves."""
        if start is None:
            tried = [self._settled(one, kept, turns=turns, centring=2) for one in self.guesses()]
            return min(tried, key=lambda one: one.cost)
        return self._settled(start, kept, turns=turns, centring=1)

    def _settled(
        self, start: TubeSolution, kept: IndexArray, *, turns: int, centring: int
    ) -> TubeSolution:
        now = self.centred(start, kept, turns=centring)
        for _ in range(turns):
            before = now.shared
            now = self.centred(self.shaped(now, kept), kept)
            if np.max(np.abs(now.shared - before)) < 1e-3:
                break
        return now

    def centred(self, now: TubeSolution, kept: IndexArray, *, turns: int = 1) -> TubeSolution:
        """Move every kept section's centre by the shift that fits it best."""
        centre = now.centre.copy()
        reach = 0.75 * self.sections.width_px + 2.0
        for _ in range(turns):
            found = self.project(now.shared, centre[kept], kept, now.noise)
            depth = found.weights[:, 0]
            shift = found.weights[:, 4] / np.where(np.abs(depth) > 1e-3, depth, np.inf)
            moved = centre[kept] + np.clip(shift, -FARTHEST_SHIFT_PX, FARTHEST_SHIFT_PX)
            centre[kept] = np.clip(moved, -reach, reach)
        return replace(now, centre=centre)

    def shaped(self, before: TubeSolution, kept: IndexArray) -> TubeSolution:
        """Fit the shape alone, centres and noise as they stand."""
        from scipy.optimize import least_squares

        active, (low, high) = self.held.active, self.bounds
        start = np.clip(before.shared, low + 1e-6, high - 1e-6)
        centre, noise = before.centre[kept], before.noise
        last: dict[bytes, FloatArray] = {}

        def condensed(vector: FloatArray) -> FloatArray:
            """Return [slopes, misfit] turned into as few rows as they have columns."""
            key = vector.tobytes()
            if key not in last:
                shared = before.shared.copy()
                shared[active] = vector
                last.clear()
                last[key] = self._condensed(shared, centre, kept, noise)
            return last[key]

        answer = least_squares(
            lambda vector: condensed(vector)[:, -1],
            start[active],
            jac=lambda vector: condensed(vector)[:, :-1],
            bounds=(low[active], high[active]),
            x_scale=np.array([0.1, 0.3, 0.1, 0.5, 0.5, 0.1, 0.3, 0.4])[active],
            xtol=1e-5,
            ftol=1e-6,  # of the cost: a thirtieth of a standard uncertainty
            max_nfev=30,
        )
        shared = before.shared.copy()
        shared[active] = answer.x
        found = self.project(shared, centre, kept, noise)
        rms = float(np.sqrt(np.mean((found.model - self.sections.profile[kept]) ** 2)))
        return TubeSolution(
            shared=shared,
            centre=before.centre,
            noise=noise,
            rms=rms,
            covariance=_covariance(answer.jac, active),
            cost=float(answer.cost),
        )

    def _condensed(
        self, shared: FloatArray, centre: FloatArray, kept: IndexArray, noise: float
    ) -> FloatArray:
        """Return the triangle of [slopes, misfit]: the same sums of squares in p + 1 rows."""
        found = self.project(shared, centre, kept, noise)
        size = found.slopes.shape[2]
        rows = np.concatenate([found.slopes.reshape(-1, size), found.misfit.reshape(-1, 1)], axis=1)
        rows = np.concatenate([rows, self._known(shared)])
        return np.asarray(np.linalg.qr(rows, mode="r"), dtype=np.float64)

    def _known(self, shared: FloatArray) -> FloatArray:
        """Return slopes and misfit of what is known beside the picture, (q, p + 1)."""
        active = list(self.held.active)
        known = [
            (BLUR, math.log(BLUR_PX.value), BLUR_LOG.value),
            (WALL, math.log(WALL_DEPTH.value), WALL_DEPTH_LOG.value),
        ]
        if LUMEN in active:
            known.append((LUMEN, math.log(LUMEN_DEPTH.value), LUMEN_DEPTH_LOG.value))
        if RATIO in active:
            known.append((RATIO, *self.held.lumen_ratio))
        if GLARE in active:
            known.append((GLARE, 0.0, GLARE_SHARE_U.value))
        if THREAD_LOG in active:
            known.append((THREAD_LOG, math.log(THREAD_WIDTH.value), THREAD_WIDTH_LOG.value))
        rows = np.zeros((len(known), len(active) + 1))
        for row, (one, mean, u) in enumerate(known):
            rows[row, active.index(one)] = 1.0 / u
            rows[row, -1] = (shared[one] - mean) / u
        return rows

    def covariance_at(self, solution: TubeSolution, kept: IndexArray) -> FloatArray:
        """Return the covariance that the model's slopes there and all that is known give."""
        rows = self._condensed(solution.shared, solution.centre[kept], kept, solution.noise)
        return _covariance(rows[:, :-1], self.held.active)

    def guesses(self) -> list[TubeSolution]:
        """Return where to start: the width seen, a usual blur, the depth of the mean shadow.

        With contrast inside, a picture has more than one explanation: a dense wall, a dense lumen
        in a fainter wall, or one in a wall that hardly shows. Each has a start of its own.
        """
        sections = self.sections
        deepest = float(np.median(1.0 - np.min(sections.profile, axis=1)))
        share = np.clip(deepest / PRIMARY_SHARE.value, 0.02, 0.9)
        depth = math.log(-1.3 * np.log1p(-share))
        # log of wall depth, of lumen depth and of outer diameter, beside the usual ones
        mixes = [(0.0, 0.0, 0.1)]
        if not self.held.lumen_is_empty:
            inside = -math.log(self.held.lumen_ratio[0])
            mixes = [(0.7, -0.3, -0.1), (0.3, 0.0, 0.1), (-1.0, 0.4, 0.1), (-3.0, 1.0, inside)]
        guesses = []
        for wall, lumen, outer in mixes:
            shared = np.zeros(SHARED)
            shared[OUTER] = math.log(sections.width_px) + outer
            shared[BLUR] = math.log(BLUR_PX.value)
            shared[RATIO] = self.held.lumen_ratio[0]
            shared[[WALL, LUMEN]] = depth + wall, depth + lumen
            shared[THREAD_LOG] = math.log(THREAD_WIDTH.value)
            start = TubeSolution(
                shared=shared,
                centre=np.zeros(len(sections.profile)),
                noise=sections.noise,
                rms=np.inf,
                covariance=np.zeros((SHARED, SHARED)),
                cost=np.inf,
            )
            guesses.append(start)
        return guesses


def _covariance(slopes: FloatArray, active: IndexArray) -> FloatArray:
    """Return the covariance of the shared unknowns, zero for those the fit does not have."""
    size = np.linalg.norm(slopes, axis=0)
    size[size == 0] = 1.0
    scaled = slopes / size
    covariance = np.zeros((SHARED, SHARED))
    covariance[np.ix_(active, active)] = np.linalg.pinv(scaled.T @ scaled, rcond=1e-12) / np.outer(
        size, size
    )
    return covariance


def thread_of(across: FloatArray, shared: FloatArray) -> ThreadShadow:
    """Return the shadow of the thread that the shared unknowns describe."""
    outer, blur, width = np.exp(shared[[OUTER, BLUR, THREAD_LOG]])
    return thread_shadow(
        across,
        outer_px=float(outer),
        blur_px=float(blur),
        place=float(shared[THREAD_AT]),
        width=float(width),
    )
