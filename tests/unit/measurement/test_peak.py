"""The largest of a noisy curve; over thousands of them `annot validate curve` counts."""

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.measurement.curve_process import draw_curve
from annot.measurement.peak import largest_of, smallest_of
from annot.tasks.rehearse import CURVE, READING, SCALE_KINDS, curve_study, run_case, run_study
from annot.tasks.rehearse.curve_case import SHAPES, draw
from annot.tasks.rehearse.study import chance_of

TIMES = np.arange(0, 1800, 1000 / 30)
BEATS = (0.0, 900.0, 1800.0)
FIRST = slice(0, 27)


def wave(times):
    return 24 + np.cos(2 * np.pi * (times - 450) / 900)


def top_of(values, times=TIMES, *, span=FIRST, r_waves_ms=BEATS, seed=1):
    curve = draw_curve(values, times, r_waves_ms=r_waves_ms, rng=np.random.default_rng(seed))
    return largest_of(curve, span)


def test_the_largest_of_noise_reads_high_and_the_corrected_one_hardly():
    """A wave of 2 mm, noise of 0.4 mm; 40 seeds: the plain largest is 0.6 mm high."""
    plain, freed, held = [], [], 0
    for seed in range(40):
        seen = wave(TIMES) + np.random.default_rng(seed).normal(0, 0.4, TIMES.size)
        top = top_of(seen)
        plain.append(seen[FIRST].max() - 25.0)
        freed.append(top.value - 25.0)
        held += abs(top.value - 25.0) <= 1.96 * top.u
    assert np.mean(plain) > 0.4
    assert abs(np.mean(freed)) < 0.25 * np.mean(plain)
    assert held >= 35


def test_a_curve_that_does_not_move_reads_high_by_less_than_its_u():
    noise = np.random.default_rng(4).normal(0, 0.5, (30, TIMES.size))
    tops = [top_of(20 + one, span=slice(None)) for one in noise]
    assert noise.max(axis=1).mean() > 1.0
    assert abs(np.mean([one.value - 20 for one in tops])) < np.mean([one.u for one in tops])
    assert sum(abs(one.value - 20) <= 1.96 * one.u for one in tops) >= 27


def test_noise_that_hangs_together_does_not_make_the_interval_too_narrow():
    held = 0
    for seed in range(30):
        noise = np.random.default_rng(seed).normal(0, 0.3, TIMES.size)
        for index in range(1, TIMES.size):
            noise[index] = 0.7 * noise[index - 1] + np.sqrt(1 - 0.7**2) * noise[index]
        top = top_of(wave(TIMES) + noise)
        held += abs(top.value - 25.0) <= 1.96 * top.u
    assert held >= 26


def test_a_curve_without_noise_keeps_its_top_between_frames_too():
    times = np.arange(10, 1800, 1000 / 15)
    assert wave(times)[:13].max() < 25 - 0.015
    assert top_of(wave(times), times, span=slice(0, 13)).value == pytest.approx(25.0, abs=5e-3)


def test_a_smallest_is_the_largest_turned_over():
    seen = wave(TIMES) + np.random.default_rng(3).normal(0, 0.3, TIMES.size)
    low = smallest_of(draw_curve(seen, TIMES, rng=np.random.default_rng(1)), FIRST)
    high = largest_of(draw_curve(-seen, TIMES, rng=np.random.default_rng(1)), FIRST)
    assert low.value == pytest.approx(-high.value, abs=0.3 * low.u)
    assert low.value < 23.3
    assert low.u > 0


@settings(max_examples=10, deadline=None)
@given(st.floats(0.01, 100), st.floats(-50, 50))
def test_another_unit_or_zero_changes_nothing_but_the_numbers(factor, shift):
    seen = wave(TIMES) + np.random.default_rng(5).normal(0, 0.3, TIMES.size)
    one, other = top_of(seen), top_of(factor * seen + shift)
    assert other.value == pytest.approx(factor * one.value + shift, rel=1e-6, abs=1e-6)
    assert other.u == pytest.approx(factor * one.u, rel=1e-5)


def test_beats_known_by_their_r_waves_make_the_largest_surer():
    rng = np.random.default_rng(6)
    alone, together = [], []
    for _ in range(10):
        seen = wave(TIMES) + rng.normal(0, 0.4, TIMES.size)
        alone.append(top_of(seen, r_waves_ms=()).u)
        together.append(top_of(seen).u)
    assert np.mean(together) < np.mean(alone)


def test_a_span_of_two_frames_has_no_parabola_and_still_a_largest():
    seen = wave(TIMES) + np.random.default_rng(5).normal(0, 0.1, TIMES.size)
    assert top_of(seen, span=slice(13, 15)).value == pytest.approx(25.0, abs=0.3)


def test_values_that_are_all_the_same_have_that_largest_and_no_noise():
    top = top_of(np.full(TIMES.size, 20.0))
    assert (top.value, top.u) == (20.0, 0.0)


def test_a_long_loop_is_weighed_by_some_of_its_frames():
    times = np.arange(360) * 20.0
    seen = wave(times) + np.random.default_rng(1).normal(0, 0.3, times.size)
    top = top_of(seen, times, span=slice(None), r_waves_ms=tuple(np.arange(9) * 900.0))
    assert top.value == pytest.approx(25.0, abs=3 * top.u)


# ---------------------------------------------------------------- the study of it
def test_what_is_drawn_is_what_is_said_to_be_drawn():
    cases = [draw(case, chance_of(1, case)) for case in range(60)]
    assert {one.shape for one in cases} == set(SHAPES)
    for one in cases:
        step = float(np.diff(one.times_ms)[0])
        assert 1000 / 60 <= step <= 1000 / 15
        assert one.seen.size <= 200
        assert 0.05 <= one.noise / one.movement <= 1.0
        assert 0 <= one.step_correlation < 0.9
        assert one.beat.stop - one.beat.start >= 5
    errors = np.concatenate([(one.seen - one.course(one.times_ms)) / one.noise for one in cases])
    assert np.std(errors) == pytest.approx(1.0, abs=0.08)
    kept = np.mean([one.step_correlation == 0 for one in cases])
    assert kept == pytest.approx(1 / 3, abs=0.15)


@pytest.mark.parametrize("study", [CURVE, READING, *SCALE_KINDS.values()], ids=lambda one: one.name)
def test_a_study_goes_to_other_processes_as_it_is(study):
    assert pickle.loads(pickle.dumps(study)) == study


def test_the_study_says_how_often_intervals_hold():
    trials = run_study(CURVE, cases=6, seed=1)
    assert run_case(CURVE, 5, seed=1) == tuple(one for one in trials if one.case == 5)
    report = curve_study(CURVE, trials, cases=6, seed=1)
    assert [cell.tally.trials for cell in report.cells[:3]] == [6, 6, 6]
    assert len(report.bars) == 6
    assert all(bar.met is None for bar in report.bars)
