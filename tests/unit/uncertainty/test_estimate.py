"""The rule: which method answers, and that the cheap look before it does not wave through."""

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.uncertainty import (
    InputQuantity,
    MeasurementResult,
    agreement_tolerance,
    arcsine,
    cosine_of_unknown_tilt,
    estimate,
    exact,
    expand,
    exponential,
    propagate,
    provisional_estimate,
    quick_estimate,
    rectangular,
    simulate,
    stated,
)
from annot.uncertainty import monte_carlo as monte_carlo_module
from tests.strategies import inputs

WORDS = {"unit": "mm", "source": "a test"}


def width(tilt_deg=None, u_end=0.4, scale_u=0.01, dof=math.inf):
    """Return a length of 20 mm: two ends, a scale, and perhaps an unknown tilt."""
    parts = [
        stated(0.0, u_end, key="first", **WORDS),
        stated(20.0, u_end, key="second", **WORDS),
        InputQuantity(key="scale", value=1.0, u=scale_u, unit="1", dof=dof),
    ]
    if tilt_deg:
        parts.append(cosine_of_unknown_tilt(tilt_deg, key="tilt", source=""))
    return propagate(lambda a, b, s, *t: (b - a) * s * (t[0] if t else 1.0), parts, unit="mm")


def test_a_nearly_linear_result_is_answered_by_first_order_without_drawing(monkeypatch):
    monkeypatch.setattr(monte_carlo_module, "blocks_of", lambda *_: pytest.fail("it drew"))
    answer, first = estimate(width()), expand(width())
    assert answer.method == "first order"
    assert answer.reason == "nearly linear"
    assert (answer.value, answer.u, answer.interval) == (20.0, width().u, first)


def test_the_quick_answer_is_the_answer_or_none():
    scale = stated(0.2, 0.002, key="s", unit="mm/px", source="a test")
    linear = propagate(lambda s: s * 100, [scale], unit="mm")
    assert quick_estimate(linear) == estimate(linear)
    tilt = cosine_of_unknown_tilt(60, key="tilt", source="a test")
    bent = propagate(lambda s, c: s / c, [scale, tilt], unit="mm")
    assert quick_estimate(bent) is None
    assert estimate(bent).method == "monte carlo"
    provisional = provisional_estimate(bent)
    assert (provisional.value, provisional.interval) == (bent.value, expand(bent))
    assert "provisional" in provisional.reason


def test_a_wide_unknown_tilt_is_answered_by_drawing():
    result = width(tilt_deg=45.0)
    answer = estimate(result)
    assert answer.method == "monte carlo"
    assert answer.first_order_value == result.value
    assert "first order is off by" in answer.reason
    # no cosine is above 1, so the upper end stays near the 20 mm drawn
    assert answer.interval.high < expand(result).high - 0.3
    assert answer.value == pytest.approx(simulate(result).value)


def test_one_input_decides_by_its_shape():
    for quantity, method in (
        (rectangular(5.0, 1.0, key="x", **WORDS), "monte carlo"),
        (arcsine(5.0, 1.0, key="x", **WORDS), "monte carlo"),
        (exponential(5.0, 1.0, side="above", key="x", **WORDS), "monte carlo"),
        (stated(5.0, 1.0, key="x", **WORDS), "first order"),
        (InputQuantity(key="x", value=5.0, u=1.0, unit="mm", dof=5), "first order"),
    ):
        answer = estimate(propagate(lambda x: 2 * x, [quantity], unit="mm"))
        assert answer.method == method, quantity.distribution


def test_certain_inputs_need_no_method():
    result = propagate(lambda x: x, [exact(5.0, key="x", **WORDS)], unit="mm")
    answer = estimate(result)
    assert (answer.u, answer.interval.low, answer.reason) == (0.0, 5.0, "every input is exact")


def test_a_stored_result_is_answered_by_first_order():
    bent = width(tilt_deg=45.0)
    stored = MeasurementResult(value=bent.value, unit="mm", lines=bent.lines)
    assert estimate(stored).method == "first order"
    assert "read back without its model" in estimate(stored).reason


def test_two_repeats_leave_first_order_with_its_wide_t():
    answer = estimate(width(tilt_deg=45.0, dof=1.0))
    assert answer.method == "first order"
    assert "scale has too few degrees" in answer.reason


def test_a_flat_model_of_two_repeats_is_refused():
    few = InputQuantity(key="few", value=0.0, u=0.1, unit="1", dof=2)
    with pytest.raises(ValueError, match="four or more repeats"):
        estimate(propagate(np.square, [few], unit="1"))


@pytest.mark.parametrize(
    ("u", "tolerance"), [(0.14, 0.014), (0.5, 0.05), (0.99, 0.099), (0.94, 0.05), (0.0, 0.0)]
)
def test_the_tolerance_is_half_a_first_digit_and_at_most_a_tenth(u, tolerance):
    assert agreement_tolerance(u) == pytest.approx(tolerance)


shapes = st.sampled_from(["normal", "rectangular", "tilt", "t"])


@st.composite
def lengths(draw):
    """Draw a length of a segment with ends, a scale and a tilt of any likely size."""
    span = draw(st.floats(5.0, 40.0))
    parts = [stated(0.0, draw(st.floats(0.05, 1.0)), key=key, **WORDS) for key in "abcd"]
    scale_u = draw(st.floats(0.002, 0.06))
    kind = draw(shapes)
    if kind == "rectangular":
        scale = rectangular(1.0, scale_u, key="scale", **WORDS)
    else:
        dof = draw(st.floats(5.0, 60.0)) if kind == "t" else math.inf
        scale = InputQuantity(key="scale", value=1.0, u=scale_u, unit="1", dof=dof)
    factor = exact(1.0, key="tilt", **WORDS)
    if kind == "tilt":
        factor = cosine_of_unknown_tilt(draw(st.floats(1.0, 50.0)), key="tilt", source="")
    return propagate(
        lambda a, b, c, d, s, t: np.sqrt((span + b - a) ** 2 + (d - c) ** 2) * t / s,
        [*parts, scale, factor],
        unit="mm",
    )


@settings(max_examples=40)
@given(lengths())
def test_what_is_waved_through_would_have_agreed(result):
    answer = estimate(result)
    if answer.reason != "nearly linear":
        return
    drawn = simulate(result, draws=300_000, rng=np.random.Generator(np.random.SFC64(9)))
    apart = max(
        abs(answer.interval.low - drawn.interval.low),
        abs(answer.interval.high - drawn.interval.high),
        abs(answer.value - drawn.value),
    )
    # the drawn ends themselves are placed to some hundredth of u
    assert apart <= agreement_tolerance(result.u) + 0.03 * result.u


@settings(max_examples=30)
@given(lengths())
def test_an_answer_lies_inside_its_interval_and_has_an_uncertainty(result):
    answer = estimate(result)
    assert answer.interval.low < answer.value < answer.interval.high
    assert answer.u > 0


@settings(max_examples=30)
@given(inputs(key="a"), st.floats(0.0, 1.0))
def test_a_flat_model_never_answers_without_an_uncertainty(a, offset):
    if a.dof <= 2:
        return
    result = propagate(lambda x: (x - a.value) ** 2 + offset, [a], unit="mm2")
    answer = estimate(result)
    assert answer.method == "monte carlo"
    assert answer.u > 0
    assert answer.interval.low < answer.value < answer.interval.high


@settings(max_examples=20)
@given(lengths(), st.sampled_from([0.01, 0.1, 10.0, 1000.0]))
def test_another_unit_changes_nothing_but_the_unit(result, factor):
    scaled = propagate(lambda x: factor * x, [result], unit="other")
    plain, other = estimate(result), estimate(scaled)
    assert other.method == plain.method
    assert other.value == pytest.approx(factor * plain.value, rel=1e-9)
    assert other.u == pytest.approx(factor * plain.u, rel=1e-6)
    assert other.interval.low == pytest.approx(factor * plain.interval.low, rel=1e-6)


def test_the_cheap_look_is_cheap():
    """Not a bench: a thousandfold slip, such as drawing after all, must show."""
    result = width()
    estimate(result)
    start = time.perf_counter()
    for _ in range(10):
        estimate(result)
    assert (time.perf_counter() - start) / 10 < 0.02
