"""The joint bound against textbook limits, and against what the fit reaches in drawn pictures."""

import math

import numpy as np
import pytest

from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_bound import shaft_bound_px
from annot.calibration.shaft_fit import ShaftFit, averaged_u_px, fit_shaft
from annot.calibration.shaft_location import Reading

KNOWN = {"filling": "empty", "lumen_ratio": (0.65, 0.003)}


def bound(length_px=140.0, *, ratio_u=0.003, photons=2500.0, frames=1, **tube):
    shadow = {"outer_px": 13.1, "blur_px": 1.3, "lumen_ratio": 0.65, "wall_depth": 0.35,
              "lumen_depth": 0.0, **tube}  # fmt: skip
    return shaft_bound_px(
        TubeShadow(**shadow),
        noise=1 / math.sqrt(photons),
        length_px=length_px,
        lumen_ratio_u=ratio_u,
        frames=frames,
    )


def test_no_bound_is_below_that_of_two_known_edges():
    """Check `crb-edge`: sd(x0) >= (noise/A) √(2√π s p) for one known erf edge.

    Fisher information, cf. the discrete bound of technical report CSL-TR-93-560, 1993. A round rod
    has softer edges than a slab, and depth, blur and background are unknown too.
    """
    noise, blur, share = 0.02, 1.5, 0.8
    rod = TubeShadow(outer_px=20.0, blur_px=blur, lumen_ratio=0.02, wall_depth=5.0, lumen_depth=0.0)
    edge = noise / share * math.sqrt(2 * math.sqrt(math.pi) * blur)
    least = shaft_bound_px(rod, noise=noise, length_px=1.0, lumen_ratio_u=0.0, primary_share=share)
    assert least > math.sqrt(2) * edge


def drawn(vector, offset):
    """Draw a section by brute force from its nine unknowns."""
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    outer, blur, wall = np.exp(vector[[0, 1, 3]])
    step = 1 / 101
    grid = np.arange(-4000, 4001) * step
    whole = 2 * np.sqrt(np.maximum((outer / 2) ** 2 - grid**2, 0))
    lumen = 2 * np.sqrt(np.maximum((outer * vector[2] / 2) ** 2 - grid**2, 0))
    sharp = 1 - np.exp(-wall * (whole - lumen) / outer)
    seen = uniform_filter1d(gaussian_filter1d(sharp, blur / step, truncate=6), 101)
    x = offset / offset[-1]
    background = vector[5] + vector[6] * x + vector[7] * x**2
    return background - vector[4] * np.interp(offset - vector[8], grid, seen)


@pytest.mark.parametrize("ratio_u", [0.003, 0.1])
def test_the_bound_is_that_of_a_profile_drawn_by_brute_force(ratio_u):
    """Outside reference: Fisher information of all nine unknowns by differences of `drawn`.

    What is known beside the picture adds its information: primary share 0.8 ± 0.12, blur 1.2 px and
    wall depth 0.77 by their factors, the ratio as stated.
    """
    offset = np.arange(-25.0, 25.5)
    truth = np.array([np.log(13.1), np.log(1.3), 0.65, np.log(0.35), 0.8, 1.0, 0.0, 0.0, 0.0])
    steps = np.diag([0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.05])
    slopes = np.stack(
        [(drawn(truth + s, offset) - drawn(truth - s, offset)) / (2 * s.max()) for s in steps]
    )
    information = slopes @ slopes.T * 140 * 2500
    information[range(5), range(5)] += np.array([0, 1 / 0.6, 1 / ratio_u, 1 / 0.55, 1 / 0.12]) ** 2
    least = 13.1 * math.sqrt(np.linalg.inv(information)[0, 0])
    assert bound(ratio_u=ratio_u) == pytest.approx(least, rel=0.02)


def test_the_bound_falls_with_the_root_of_what_is_read():
    """Counting: four frames or four lengths quarter the variance of noise."""
    exact = [bound(ratio_u=0.0, photons=1e6, length_px=140 * n) for n in (1, 4)]
    assert exact[0] / exact[1] == pytest.approx(2.0, rel=0.05)
    assert bound(frames=4) == pytest.approx(bound(560.0))


def test_less_knowledge_less_light_more_blur_make_the_bound_larger():
    usual = bound()
    assert bound(ratio_u=0.1) > 3 * usual
    assert bound(photons=600.0) > usual
    assert bound(blur_px=2.0) > usual
    assert bound(outer_px=8.0) / 8.0 > usual / 13.1


def test_the_fit_reaches_the_bound(shaft):
    """Twelve pictures: the scatter of 12 is known to a fifth, so 1.5 is three such steps off."""
    found = [
        fit_shaft([Reading(frame=shaft.picture(seed=seed), trace=shaft.trace())], **KNOWN)
        for seed in range(12)
    ]
    assert all(isinstance(one, ShaftFit) for one in found)
    sizes = np.array([one.outer_px for one in found])
    least = bound()
    assert np.std(sizes, ddof=1) < 1.5 * least
    assert abs(sizes.mean() - shaft.outer_px) < 0.005 * shaft.outer_px + 3 * least / math.sqrt(12)
    stated = float(np.mean([one.u_outer_px for one in found]))
    assert 0.9 * least < stated < 1.4 * least


# ---------------------------------------------------------------- several readings
def test_what_more_frames_would_gain_is_what_they_gain(shaft):
    def read(seeds):
        readings = [Reading(frame=shaft.picture(seed=s), trace=shaft.trace()) for s in seeds]
        return fit_shaft(readings, **KNOWN)

    one, four = read([1]), read([1, 2, 3, 4])
    assert averaged_u_px(one, frames=4) == pytest.approx(four.u_outer_px, rel=0.3)
    assert averaged_u_px(one) == pytest.approx(one.u_outer_px)
    assert averaged_u_px(one, length=2) == averaged_u_px(one, frames=2)
    # what rests on knowledge stays
    assert averaged_u_px(one, frames=1e9) > 0


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan])
def test_no_frames_and_no_length_gain_nothing(bad, shaft):
    one = fit_shaft([Reading(frame=shaft.picture(seed=1), trace=shaft.trace())], **KNOWN)
    with pytest.raises(ValueError, match="must be above 0"):
        averaged_u_px(one, frames=bad)


def test_frames_that_disagree_widen_what_is_stated(shaft):
    """Four frames alike but for the size: sections agree within each, frames do not."""
    import dataclasses

    def read(sizes):
        return fit_shaft(
            [
                Reading(
                    frame=dataclasses.replace(shaft, outer_px=size).picture(seed=n),
                    trace=shaft.trace(),
                )
                for n, size in enumerate(sizes)
            ],
            **KNOWN,
        )

    alike, apart = read([13.1] * 4), read([12.5, 12.9, 13.3, 13.7])
    assert apart.u_outer_px > 2.5 * alike.u_outer_px
    assert apart.dof == pytest.approx(3.0, rel=0.05)
    assert apart.u_outer_px == pytest.approx(np.std([12.5, 12.9, 13.3, 13.7], ddof=1) / 2, rel=0.3)
