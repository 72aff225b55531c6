"""The appendage itself: sizes, frames and beats."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from synthetic_dicom.anatomy import (
    NECK_DIRECTION,
    Anatomy,
    anatomy_for,
    cross_section_axes,
)
from synthetic_dicom.motion import electrocardiogram, motion_for
from synthetic_dicom.scene import beating_anatomy

TIMES = tuple(20.0 * index for index in range(130))


def test_the_neck_has_the_stated_ostium_and_landing_zone():
    anatomy = Anatomy(ostium_major_mm=28.7, ostium_minor_mm=21.5, taper=0.86)
    assert anatomy.section_axes_mm(0.0) == pytest.approx([28.7, 21.5])
    at_landing = anatomy.section_axes_mm(anatomy.landing_depth_mm)
    assert at_landing == pytest.approx([0.86 * 28.7, 0.86 * 21.5])
    for depth in (0.0, 5.0, anatomy.landing_depth_mm):
        half = 0.5 * anatomy.section_axes_mm(depth)
        for turn in np.linspace(0.0, 2.0 * np.pi, 9):
            rim = np.array([half[0] * np.cos(turn), half[1] * np.sin(turn), depth])
            neck = anatomy.neck()
            body = neck.whiten @ (rim - neck.centre_mm)
            assert body[0] ** 2 + body[1] ** 2 - body[2] ** 2 == pytest.approx(1.0)


def test_the_landing_zone_is_the_narrowest_section():
    anatomy = Anatomy()
    depths = np.linspace(0.0, anatomy.landing_depth_mm + 4.0, 200)
    majors = [anatomy.section_axes_mm(depth)[0] for depth in depths]
    assert depths[int(np.argmin(majors))] == pytest.approx(anatomy.landing_depth_mm, abs=0.1)


def test_axes_are_right_handed_and_share_the_zero_direction():
    anatomy = Anatomy(orientation_deg=0.0)
    axes = anatomy.axes()
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    zero, ninety = cross_section_axes()
    assert axes[0] == pytest.approx(zero)
    assert axes[1] == pytest.approx(ninety)
    assert axes[2] == pytest.approx(NECK_DIRECTION)


@given(bend=st.floats(0.0, 80.0), along=st.floats(0.1, 18.0))
def test_the_bent_axis_keeps_its_length_and_turns_evenly(bend, along):
    anatomy = Anatomy(bend_deg=bend)
    steps = np.linspace(0.0, along, 400)
    places = np.array([anatomy.bend_point_mm(step)[0] for step in steps])
    assert np.linalg.norm(np.diff(places, axis=0), axis=1).sum() == pytest.approx(along, rel=1e-4)
    forward = anatomy.bend_point_mm(along)[1]
    turned = np.rad2deg(np.arccos(np.clip(forward[2], -1.0, 1.0)))
    assert turned == pytest.approx(bend * along / anatomy.body_length_mm, abs=1e-4)


def test_the_end_lies_on_the_last_part_and_nothing_reaches_further_along_it():
    anatomy = Anatomy(bend_deg=0.0)
    tip = anatomy.tip_mm()
    assert tip[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    for part in anatomy.lobes():
        assert part.bounds_mm()[1][2] <= tip[2] + 1e-9


@given(seed=st.integers(0, 10_000))
def test_drawn_sizes_are_plausible(seed):
    # Published CT means: ostium 28.7 ± 4.4 mm, at 10 mm depth 24.6 ± 4.5 mm (van Rosendael 2014);
    # plausibility windows 8-45, 8-40 and 5-60 mm are the project's own.
    anatomy = anatomy_for(np.random.default_rng(seed))
    assert 20.0 < anatomy.ostium_major_mm < 33.0
    assert 14.0 < anatomy.ostium_minor_mm < anatomy.ostium_major_mm
    assert 10.0 <= anatomy.landing_depth_mm <= 12.0
    assert 20.0 < np.linalg.norm(anatomy.tip_mm()) < 40.0


def test_one_seed_is_one_appendage_and_another_seed_another():
    first, again = beating_anatomy(3, TIMES), beating_anatomy(3, TIMES[:5])
    assert first.anatomy == again.anatomy
    assert beating_anatomy(4, TIMES).anatomy != first.anatomy


def test_it_is_fullest_before_mid_beat_and_beats_smoothly():
    # CT of 860 patients: largest at about 45 % of the R-R interval, smallest at about 5 %
    # (PLoS ONE, January 2015); here the least is at the R wave.
    beating = beating_anatomy(7, TIMES)
    widths = beating.ostium_axes_mm()[:, 0]
    phase = beating.motion.phase(TIMES)
    contraction = beating.motion.contraction(TIMES)
    assert 0.35 < phase[int(np.argmin(contraction))] < 0.55
    least = phase[int(np.argmax(contraction))]
    assert least > 0.85 or least < 0.1
    assert 0.06 < 1.0 - widths.min() / widths.max() < 0.20
    assert np.abs(np.diff(widths)).max() < 0.25
    assert (beating.landing_depths_mm() > 10.0).all()
    assert (beating.landing_depths_mm() < 12.0).all()


def test_several_beats_fit_in_a_loop_and_the_trace_peaks_at_them():
    motion = motion_for(np.random.default_rng(2), duration_ms=2900.0)
    waves = motion.visible_r_waves_ms(2900.0)
    assert 2 <= len(waves) <= 4
    times = np.arange(0.0, 2900.0, 1.0)
    trace = electrocardiogram(motion, times)
    for wave in waves[:-1]:
        near = np.abs(times - wave) < 100.0
        assert times[near][int(np.argmax(trace[near]))] == pytest.approx(wave, abs=2.0)


def test_breathing_starts_at_zero_and_stays_within_its_range():
    motion = motion_for(np.random.default_rng(2), duration_ms=2900.0)
    moved = motion.breath(np.arange(0.0, 9000.0, 10.0))
    assert moved[0] == 0.0
    assert np.ptp(moved) == pytest.approx(motion.breath_mm, rel=1e-3)
