"""A thousand cross-sections of one shaft: the joint fit beside one `curve_fit` per section.

Timed in processor seconds, as a busy machine would favour the shorter of the two by chance. Both
see the same sections, drawn here by a convolution of their own (no code of the instrument), and
both have the same unknowns and are told the same: the ratio of the diameters and the share of
primary beam, which one section alone cannot tell from its depth. (Not told the share, the joint fit
could at best be 19 % worse in a group, by the Cramér–Rao bounds of both.) Who is faster must be no
worse.
"""

import os
import statistics
import sys
import time

import numpy as np

from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_sections import Sections
from annot.calibration.tube_fit import OUTER, Held, TubeFit
from annot.calibration.tube_profile import VALUE, tube_profile

SECTIONS = 1000
GROUPS = 25
FASTER = 30.0
OUTER_PX, RATIO, WALL, BLUR_PX, SHARE, NOISE = 13.1, 0.7, 0.6, 1.3, 0.8, 0.01
OFFSET = np.arange(-25.0, 25.5)


def _drawn(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Draw sections by brute force: chords on a grid of a hundredth, kernel and pixel summed."""
    step = 0.01
    grid = np.arange(-32.0, 32.0, step)
    outer = 2 * np.sqrt(np.maximum((OUTER_PX / 2) ** 2 - grid**2, 0))
    inner = 2 * np.sqrt(np.maximum((OUTER_PX * RATIO / 2) ** 2 - grid**2, 0))
    absorbed = 1 - np.exp(-WALL * (outer - inner) / OUTER_PX)
    kernel = np.exp(-0.5 * (np.arange(-8, 8 + step / 2, step) / BLUR_PX) ** 2)
    kernel = np.convolve(kernel / kernel.sum(), np.full(round(1 / step), step))
    blurred = np.convolve(absorbed, kernel, mode="same")
    centre = rng.uniform(-0.8, 0.8, SECTIONS)
    seen = np.stack([np.interp(OFFSET - one, grid, blurred) for one in centre])
    tilt = rng.normal(0, 2e-4, (SECTIONS, 1)) * OFFSET
    return (1 - SHARE * seen) * (1 + tilt) + rng.normal(0, NOISE, seen.shape), centre


def _one_by_one(profile: np.ndarray) -> np.ndarray:
    """Fit each section alone: diameter, centre, blur, wall depth and a bent background."""
    from scipy.optimize import curve_fit

    def model(x, *unknowns):
        outer, centre, blur, wall, level, slope, bend = unknowns
        tube = TubeShadow(outer_px=outer, blur_px=blur, lumen_ratio=RATIO, wall_depth=wall,
                          lumen_depth=0.0)  # fmt: skip
        absorbed = tube_profile(tube, 28.0).at(x - centre)[VALUE]
        return level + slope * x + bend * x**2 - SHARE * absorbed

    start = [12.0, 0.0, 1.2, 0.5, 1.0, 0.0, 0.0]
    low, high = [5, -3, 0.3, 0.01, 0.5, -0.01, -1e-3], [25, 3, 4, 8, 1.5, 0.01, 1e-3]
    return np.array(
        [curve_fit(model, OFFSET, one, p0=start, bounds=(low, high))[0][0] for one in profile]
    )


def _jointly(profile: np.ndarray) -> float:
    count = len(profile)
    sections = Sections(
        offset_px=OFFSET,
        profile=profile,
        place=np.zeros((count, 2)),
        normal=np.tile([0.0, 1.0], (count, 1)),
        reading=np.zeros(count, dtype=int),
        width_px=12.0,
        length_px=float(count),
        noise=NOISE,
    )
    told = Held(lumen_is_empty=True, lumen_ratio=(RATIO, 0.0), primary_share=(SHARE, 1e-4))
    fit = TubeFit(sections=sections, held=told)
    return float(np.exp(fit.solve(np.arange(count)).shared[OUTER]))


def bench_a_thousand_sections_are_fitted_together_faster_than_one_by_one(benchmark):
    profile, _ = _drawn(np.random.default_rng(5))
    outer = benchmark.pedantic(lambda: _jointly(profile), rounds=5, warmup_rounds=1)
    times = []
    for _ in range(5):
        start = time.process_time()
        _jointly(profile)
        times.append(time.process_time() - start)
    start = time.process_time()
    alone = _one_by_one(profile)
    alone_s = time.process_time() - start
    ratio = alone_s / statistics.median(times)
    groups = np.split(np.arange(SECTIONS), GROUPS)
    together = np.array([_jointly(profile[group]) for group in groups])
    means = np.array([alone[group].mean() for group in groups])
    own, other = (float(np.sqrt(np.mean((one - OUTER_PX) ** 2))) for one in (together, means))
    sys.__stdout__.write(
        f"\n  {SECTIONS} sections: together {statistics.median(times):.2f} s, one by one "
        f"{alone_s:.1f} s, ×{ratio:.0f}; true {OUTER_PX} px, together {outer:.4f}, mean of all "
        f"{alone.mean():.4f}; in {GROUPS} groups off by {own:.4f} and {other:.4f} px "
        f"(load {os.getloadavg()[0]:.1f})\n"
    )
    assert ratio >= FASTER
    assert own <= 1.1 * other
    assert abs(outer - OUTER_PX) <= max(abs(float(alone.mean()) - OUTER_PX), 1e-3 * OUTER_PX)
