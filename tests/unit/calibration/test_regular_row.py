"""Which marks make up a row, and its spacing: laws, missing marks and strangers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration.regular_row import find_row, spacing_of

NAMES = {"u_gap_rel": 0.002}


@given(
    spacing=st.floats(8.0, 80.0),
    start=st.floats(-5.0, 30.0),
    gaps=st.lists(st.sampled_from([1, 1, 1, 2]), min_size=3, max_size=9).filter(
        lambda gaps: gaps.count(1) > gaps.count(2)
    ),
    seed=st.integers(0, 10_000),
)
def test_a_row_is_counted_right_whatever_single_marks_are_missing(spacing, start, gaps, seed):
    place = np.concatenate([[0], np.cumsum(gaps)])
    noise = np.random.default_rng(seed).normal(0, 0.004 * spacing, len(place))
    marks = start + spacing * place + noise
    blind, told = find_row(marks), find_row(marks, count=len(place))
    assert told is not None
    assert list(told.place) == list(place - place[0])
    assert blind.doubtful or list(blind.place) == list(told.place)


@given(spacing=st.floats(15.0, 60.0), at=st.floats(0.25, 0.75), gap=st.integers(0, 4))
def test_a_stranger_between_two_marks_is_left_out(spacing, at, gap):
    marks = spacing * np.arange(6)
    spots = np.sort(np.append(marks, spacing * (gap + at)))
    row = find_row(spots)
    assert row is not None
    assert list(spots[row.chosen]) == list(marks)


def test_what_lies_far_beyond_the_row_is_not_of_it():
    row = find_row(np.array([0.0, 20.0, 40.0, 60.0, 200.0]))
    assert row is not None
    assert list(row.chosen) == [0, 1, 2, 3]


@pytest.mark.parametrize("spots", [[], [3.0], [3.0, 5.0]])
def test_no_row_below_two_marks_that_lie_apart(spots):
    assert find_row(np.array(spots)) is None


def test_exact_marks_give_the_spacing_and_no_growth():
    found = spacing_of(7.0 + 25.0 * np.arange(5), np.full(5, 0.1), np.arange(5), **NAMES)
    assert found.spacing_px == pytest.approx(25.0)
    assert found.growth == pytest.approx(0.0, abs=1e-9)
    assert found.dof == np.inf


def test_a_perspective_row_shows_by_how_much_each_gap_grows():
    """x = (a + b·s)/(1 − c·s) has gaps that grow by 2·c a step, to first order."""
    step = np.arange(7) - 3.0
    found = spacing_of(50.0 * step / (1 - 0.004 * step), np.full(7, 0.02), np.arange(7), **NAMES)
    assert found.growth == pytest.approx(0.008, rel=0.03)
    # an even change is no scatter: the marks' own uncertainty is not widened by it
    even = spacing_of(50.0 * step, np.full(7, 0.02), np.arange(7), **NAMES)
    assert found.u_marks_px == pytest.approx(even.u_marks_px, rel=0.001)


def test_scatter_that_nothing_stated_explains_widens_the_interval_and_costs_freedom():
    rng = np.random.default_rng(3)
    marks = 40.0 * np.arange(8) + rng.normal(0, 1.0, 8)
    found = spacing_of(marks, np.full(8, 0.05), np.arange(8), u_gap_rel=1e-5)
    assert found.dof == 5
    assert found.u_marks_px > 0.08


def test_strips_wider_than_their_gaps_leave_the_spacing_alone():
    place = np.arange(10)
    shifted = 30.0 * place + 0.8 * (-1.0) ** place
    found = spacing_of(shifted, np.full(10, 0.02), place, u_gap_rel=1e-6, alternating=True)
    assert found.spacing_px == pytest.approx(30.0)
    assert found.dof == np.inf
    plain = spacing_of(shifted, np.full(10, 0.02), place, u_gap_rel=1e-6)
    assert plain.u_marks_px > 5 * found.u_marks_px


def test_the_interval_holds_the_true_spacing_in_95_of_100():
    """Gaps off on their own by a normal 0.4 %, marks by 0.1 px; 400 rows, binomial limits."""
    rng, held, rows = np.random.default_rng(11), 0, 400
    for _ in range(rows):
        gaps = 45.0 * (1 + rng.normal(0, 0.004, 5))
        marks = np.concatenate([[0.0], np.cumsum(gaps)]) + rng.normal(0, 0.1, 6)
        found = spacing_of(marks, np.full(6, 0.1), np.arange(6), u_gap_rel=0.004)
        u = np.hypot(found.u_marks_px, found.u_gaps_px)
        # known parts: the factor of a normal is the smaller, stricter one
        held += abs(found.spacing_px - 45.0) <= 1.96 * u
    # 99.9 % of the counts of 400 draws at 0.95 lie in 365 to 393 (SciPy's binom.ppf)
    assert 365 <= held <= 399
