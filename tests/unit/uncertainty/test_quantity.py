"""Input quantities, results and covariance: what a budget may hold and what it adds up to."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    InputQuantity,
    covariance,
    exact,
    expand,
    propagate,
    rectangular,
    stated,
)
from annot.uncertainty.quantity import gather
from tests.strategies import NOT_NUMBERS, inputs, uncertainties_of_input


def make(**changes: object) -> InputQuantity:
    plain = {"key": "size", "value": 2.0, "u": 0.1, "unit": "mm"}
    return InputQuantity(**{**plain, **changes})  # type: ignore[arg-type]  # a test's own dict


@pytest.mark.parametrize("value", NOT_NUMBERS)
def test_a_value_that_is_no_finite_number_is_refused_by_name(value):
    with pytest.raises(ValueError, match=r"size: the value .* is not a finite number"):
        make(value=value)


@pytest.mark.parametrize("u", [*NOT_NUMBERS, -0.1])
def test_an_uncertainty_that_is_negative_or_not_finite_is_refused_by_name(u):
    with pytest.raises(ValueError, match="size: the uncertainty"):
        make(u=u)


def test_no_uncertainty_without_saying_exact():
    with pytest.raises(ValueError, match="'exact' go together"):
        make(u=0.0)


def test_exact_with_an_uncertainty_is_refused():
    with pytest.raises(ValueError, match="'exact' go together"):
        make(distribution="exact")


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_must_be_positive(dof):
    with pytest.raises(ValueError, match="degrees of freedom must be positive"):
        make(dof=dof)


def test_exact_quantities_are_declared_by_name():
    quantity = exact(1.0, key="one", unit="1", source="definition")
    assert (quantity.u, quantity.distribution, quantity.source) == (0.0, "exact", "definition")


@given(inputs(key="a"), inputs(key="b"), inputs(key="c"))
def test_shares_of_an_uncertain_result_add_up_to_one(a, b, c):
    result = propagate(lambda x, y, z: x * y / z, [a, b, c], unit="mm")
    assert sum(result.shares().values()) == pytest.approx(1.0, abs=1e-12)
    assert all(part >= 0 for part in result.shares().values())


def test_shares_of_an_exact_result_are_zero():
    one = exact(1.0, key="one", unit="1", source="definition", component="depth")
    assert propagate(lambda x: 2 * x, [one], unit="1").shares() == {"depth": 0.0}


def test_shares_name_the_component_and_its_part_of_the_variance():
    a = stated(0.0, 3.0, key="a", unit="mm", source="", component="ends")
    b = stated(0.0, 4.0, key="b", unit="mm", source="", component="scale")
    shares = propagate(lambda x, y: x + y, [a, b], unit="mm").shares()
    assert shares["ends"] == pytest.approx(9 / 25)
    assert shares["scale"] == pytest.approx(16 / 25)


@given(inputs(key="a"), inputs(key="b"))
def test_interval_contains_the_value(a, b):
    result = propagate(lambda x, y: x * y, [a, b], unit="mm2")
    interval = expand(result)
    assert interval.holds(result.value)
    assert interval.half_width == pytest.approx(interval.coverage_factor * result.u)


@given(inputs(key="shared"), inputs(key="a"), inputs(key="b"))
def test_results_that_share_an_input_are_correlated_by_it_alone(shared, a, b):
    first = propagate(lambda s, x: s * x, [shared, a], unit="mm")
    second = propagate(lambda s, x: s * x, [shared, b], unit="mm")
    assert covariance(first, second) == pytest.approx(a.value * b.value * shared.u**2, rel=1e-7)
    assert covariance(first, second) == pytest.approx(covariance(second, first), rel=1e-12)


def test_results_that_follow_an_input_opposite_ways_are_correlated_negatively():
    shared = make(u=0.1)
    up = propagate(lambda s: 3 * s, [shared], unit="mm")
    down = propagate(lambda s: 10 - 2 * s, [shared], unit="mm")
    assert covariance(up, down) == pytest.approx(-6 * 0.1**2, rel=1e-8)


@given(inputs(key="a"), inputs(key="b"))
def test_results_without_a_common_input_are_not_correlated(a, b):
    assert covariance(a, b) == 0.0


@given(inputs(key="a"), inputs(key="b"))
def test_covariance_of_a_result_with_itself_is_its_variance(a, b):
    result = propagate(lambda x, y: x * y, [a, b], unit="mm2")
    assert covariance(result, result) == pytest.approx(result.u**2, rel=1e-12)


@given(inputs(key="a"))
def test_one_key_with_two_meanings_is_refused_wherever_they_meet(a):
    other = replace(a, value=a.value + 1)
    for meeting in (
        lambda: covariance(a, other),
        lambda: gather([a, other]),
        lambda: propagate(lambda x, y: x + y, [a, other], unit="mm"),
    ):
        with pytest.raises(ValueError, match=f"'{a.key}' names two different inputs"):
            meeting()


@given(inputs(key="a"))
def test_a_difference_of_a_quantity_with_itself_has_no_uncertainty(a):
    result = propagate(lambda x, y: x - y, [a, a], unit="mm")
    assert result.value == 0.0
    assert result.u == pytest.approx(0.0, abs=1e-9 * a.u)


@given(uncertainties_of_input, st.floats(1.0, 100.0))
def test_effective_degrees_of_one_input_are_its_own(u, dof):
    quantity = replace(make(u=u), dof=dof)
    result = propagate(lambda x: 3.0 * x, [quantity], unit="mm")
    assert result.dof == pytest.approx(dof)


def test_effective_degrees_lie_between_the_smallest_and_the_sum():
    a, b = make(key="a", dof=5), make(key="b", dof=7)
    result = propagate(lambda x, y: x + y, [a, b], unit="mm")
    assert 5 <= result.dof <= 12
    assert result.dof == pytest.approx(2**2 / (1 / 5 + 1 / 7))  # equal u: 4u⁴ / (u⁴/5 + u⁴/7)


def test_a_result_of_certain_inputs_has_infinite_degrees():
    half = rectangular(1.0, 0.5, key="a", unit="mm", source="")
    assert propagate(lambda x: x, [half], unit="mm").dof == math.inf


def test_types_are_frozen():
    result = propagate(lambda x: x, [make()], unit="mm")
    for thing, name in ((make(), "value"), (result, "value"), (result.lines[0], "sensitivity")):
        with pytest.raises(AttributeError):
            setattr(thing, name, 1.0)


def test_values_are_plain_floats_so_that_files_hold_plain_numbers():
    result = propagate(np.hypot, [make(key="a"), make(key="b")], unit="mm")
    interval = expand(result)
    for number in (result.value, result.u, result.dof, interval.low, interval.high):
        assert type(number) is float
    assert all(type(line.sensitivity) is float for line in result.lines)
