"""The law of propagation: slopes, nesting, vectorised models, refusals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import propagate, stated
from tests.strategies import inputs


@given(inputs(key="a"), inputs(key="b"))
def test_slopes_of_a_product_are_the_other_factor(a, b):
    result = propagate(lambda x, y: x * y, [a, b], unit="mm2")
    by_key = {line.input.key: line.sensitivity for line in result.lines}
    assert by_key["a"] == pytest.approx(b.value, rel=1e-8)
    assert by_key["b"] == pytest.approx(a.value, rel=1e-8)
    assert result.u == pytest.approx(math.hypot(b.value * a.u, a.value * b.u), rel=1e-8)


@given(inputs(key="a"))
def test_slope_of_a_curved_model_agrees_with_its_derivative(a):
    result = propagate(np.log, [a], unit="1")
    assert result.lines[0].sensitivity == pytest.approx(1 / a.value, rel=1e-7)


@given(inputs(key="a"), inputs(key="b"), inputs(key="c"))
def test_in_steps_or_at_once_is_the_same(a, b, c):
    once = propagate(lambda x, y, z: (x + y) * z, [a, b, c], unit="mm2")
    step = propagate(lambda x, y: x + y, [a, b], unit="mm")
    steps = propagate(lambda s, z: s * z, [step, c], unit="mm2")
    assert steps.value == pytest.approx(once.value)
    assert steps.u == pytest.approx(once.u, rel=1e-7)


@given(inputs(key="a"), st.floats(0.1, 10.0))
def test_a_factor_scales_value_and_uncertainty_alike(a, factor):
    result = propagate(lambda x: factor * x, [a], unit="mm")
    assert result.value == pytest.approx(factor * a.value)
    assert result.u == pytest.approx(factor * a.u, rel=1e-8)


def test_a_zero_estimate_has_its_true_slope():
    zero = stated(0.0, 0.3, key="zero", unit="px", source="")
    place = stated(400.0, 1.0, key="place", unit="px", source="")
    result = propagate(lambda x, shift: x + shift, [place, zero], unit="px")
    assert {line.input.key: line.sensitivity for line in result.lines} == pytest.approx(
        {"place": 1.0, "zero": 1.0}, rel=1e-7
    )


@pytest.mark.parametrize(
    ("model", "at"),
    [(np.log, 0.0), (np.sqrt, -1.0), (lambda x: 1 / x, 0.0), (lambda x: x * np.nan, 1.0)],
)
def test_a_model_without_finite_value_or_slope_is_refused(model, at):
    quantity = stated(at, 0.1, key="x", unit="mm", source="")
    with np.errstate(all="ignore"), pytest.raises(ValueError, match="no finite value or slope"):
        propagate(model, [quantity], unit="mm")


def test_a_constant_model_is_certain():
    quantity = stated(1.0, 0.1, key="x", unit="mm", source="")
    assert propagate(lambda x: 0 * x + 5.0, [quantity], unit="mm").u == 0.0


def test_model_and_arguments_stay_with_the_result_for_drawing_samples():
    a, b = (stated(2.0, 0.1, key=key, unit="mm", source="") for key in "ab")
    result = propagate(lambda x, y: x * y, [a, b], unit="mm2")
    assert result.model is not None
    drawn = result.model(np.array([2.0, 3.0]), np.array([4.0, 5.0]))
    assert drawn.tolist() == [8.0, 15.0]
    assert result.arguments == (a, b)
