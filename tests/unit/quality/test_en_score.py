"""The normalised error of two results, and what errors they share do to it."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from annot.quality import en_number, en_score
from annot.uncertainty import InputQuantity, propagate, stated
from tests.strategies import positives


def quantity(value: float, u: float, key: str) -> InputQuantity:
    return stated(value, u, key=key, unit="mm", source="test")


@given(positives, positives, st.floats(0.01, 10.0), st.floats(0.01, 10.0))
def test_it_changes_its_sign_with_the_roles(first, second, u_first, u_second):
    one, other = quantity(first, u_first, "a"), quantity(second, u_second, "b")
    assert en_score(one, other).e_n == pytest.approx(-en_score(other, one).e_n, abs=1e-9)
    # zero where both are the same
    assert en_score(one, quantity(first, u_second, "b")).e_n == pytest.approx(0.0, abs=1e-12)


@given(st.floats(-5.0, 5.0), st.floats(0.01, 1.0), st.floats(0.0, 1.0))
def test_an_error_that_both_share_counts_in_neither(difference, own, shared):
    """JCGM 100:2008 F.1.2.3: u² of the difference is u₁² + u₂² less twice their covariance."""
    common = quantity(0.0, shared or 1e-9, "common")
    first = propagate(
        lambda mine, both: mine + both, [quantity(difference, own, "a"), common], unit="mm"
    )
    second = propagate(lambda mine, both: mine + both, [quantity(0.0, own, "b"), common], unit="mm")
    expected = difference / (2 * math.hypot(own, own))
    assert en_score(first, second).e_n == pytest.approx(expected, abs=1e-6)


def test_two_that_share_every_error_can_only_agree_exactly():
    one = quantity(10.0, 0.1, "a")
    twice = propagate(lambda value: value + 1.0, [one], unit="mm")
    same = en_score(one, one)
    assert (same.e_n, same.agrees, same.expanded) == (None, True, 0.0)
    apart = en_score(one, twice)
    assert (apart.e_n, apart.agrees) == (None, None)
    assert "share every error and yet differ" in apart.verdict


@pytest.mark.parametrize(
    ("difference", "words"), [(0.27, "agree within"), (0.30, "differ by more")]
)
def test_the_verdict_turns_at_one(difference, words):
    """U = 2·√(0.1² + 0.1²) = 0.2828."""
    score = en_score(quantity(1 + difference, 0.1, "a"), quantity(1.0, 0.1, "b"))
    assert words in score.verdict
    assert score.agrees == ("agree" in words)


def test_few_degrees_of_freedom_ask_for_more_than_two():
    few = InputQuantity(
        key="a", value=1.0, u=0.1, unit="mm", dof=4, evaluation="A", distribution="t"
    )
    score = en_score(few, quantity(0.5, 0.001, "b"))
    # JCGM 100:2008 Table G.2: t for 95.45 % and 4 degrees of freedom is 2.87 (from memory)
    assert score.coverage_factor == pytest.approx(2.87, abs=0.005)


@given(st.floats(-100, 100), st.floats(0, 10), st.floats(0, 10))
def test_the_plain_number_is_the_difference_over_the_root_sum_of_squares(difference, one, other):
    assume(math.hypot(one, other) > 1e-6)
    found = en_number(difference, expanded=one, expanded_reference=other)
    assert found == pytest.approx(difference / math.sqrt(one**2 + other**2))


@pytest.mark.parametrize(("one", "other"), [(0.0, 0.0), (-0.1, 1.0), (1.0, -0.1)])
def test_uncertainties_that_are_none_are_refused(one, other):
    with pytest.raises(ValueError, match="E_n needs expanded uncertainties"):
        en_number(1.0, expanded=one, expanded_reference=other)
