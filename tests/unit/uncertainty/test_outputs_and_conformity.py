"""Regions of several quantities and probabilities of limits: laws and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Tolerance,
    acceptance_limit,
    acceptance_limit_for_risk,
    conformity,
    conformity_probability,
    correlation,
    coverage_region,
    exact,
    global_risk,
    guard_factor,
    propagate,
    propagate_outputs,
    rectangular,
    region_factor,
    rejection_limit,
    sample_jointly,
    simulate_jointly,
    stated,
)


def two():
    inputs = [stated(10.0, 0.3, key=key, unit="mm", source="") for key in "ab"]
    return propagate_outputs(lambda a, b: (a + b, a - 0.5 * b), inputs, units=["mm", "mm"])


@pytest.mark.parametrize("kind", ["ellipsoid", "rectangle"])
def test_a_region_holds_its_share_of_draws(kind):
    region = coverage_region(two(), kind=kind)
    drawn = sample_jointly(two(), draws=4000)
    share = np.mean([region.holds(point) for point in drawn.T])
    # an ellipsoid is exact for normal quantities, a rectangle safe
    assert share == pytest.approx(0.95, abs=0.012) if kind == "ellipsoid" else share >= 0.94
    assert region.holds(region.centre)


def test_a_drawn_region_of_normal_quantities_is_the_first_order_one():
    found = simulate_jointly(two(), draws=200_000)
    assert found.region.factor == pytest.approx(region_factor(2, kind="ellipsoid"), rel=0.01)
    assert found.covariance == pytest.approx(coverage_region(two()).covariance, rel=0.02, abs=1e-3)


def test_outputs_share_their_model_and_stay_comparable():
    assert two()[0].arguments == two()[1].arguments
    assert two()[0].model != two()[1].model
    assert correlation(*two()) == pytest.approx(0.5 / math.sqrt(2 * 1.25))


def test_quantities_that_follow_from_one_another_have_no_region():
    one = two()[0]
    double = propagate(lambda x: 2 * x, [one], unit="mm")
    with pytest.raises(ValueError, match="depend on one another fully"):
        simulate_jointly([one, double], draws=1000)
    certain = exact(1.0, key="c", unit="mm", source="")
    with pytest.raises(ValueError, match="no correlation coefficient"):
        correlation(one, certain)
    with pytest.raises(ValueError, match="at least one quantity"):
        region_factor(0, kind="ellipsoid")


# ---------------------------------------------------------------- conformity
@given(st.floats(-5, 5), st.floats(0.01, 3), st.floats(-4, 0), st.floats(0.1, 4))
def test_inside_and_both_outsides_add_up_to_one(value, u, low, span):
    high = low + span
    inside = conformity_probability(value, u, Tolerance(low=low, high=high))
    below = conformity_probability(value, u, Tolerance(high=low))
    above = conformity_probability(value, u, Tolerance(low=high))
    assert inside + below + above == pytest.approx(1.0, abs=1e-12)
    assert 0 <= inside <= 1


def test_few_degrees_of_freedom_make_it_less_sure():
    limit = Tolerance(high=2.0)
    sure, doubtful = (conformity_probability(0.0, 1.0, limit, dof=dof) for dof in (math.inf, 3))
    assert doubtful < sure
    # Student's t: P(t₃ < 2) = 0.93034 (table, from memory)
    assert doubtful == pytest.approx(0.9303, abs=1e-4)


def test_the_methods_of_the_rule():
    normal = propagate(lambda x: x, [stated(1.0, 0.1, key="x", unit="mm", source="")], unit="mm")
    assert conformity(normal, Tolerance(low=1.0)) == pytest.approx(0.5)
    flat = propagate(lambda x: x, [rectangular(1.0, 0.1, key="x", unit="mm", source="")], unit="mm")
    # a rectangle has a quarter of itself above its middle plus half a half-width
    assert conformity(flat, Tolerance(low=1.05)) == pytest.approx(0.25, abs=0.002)
    certain = propagate(lambda x: x, [exact(1.0, key="x", unit="mm", source="")], unit="mm")
    assert conformity(certain, Tolerance(low=1.0)) == 1.0
    assert conformity(certain, Tolerance(high=0.5)) == 0.0


@given(st.floats(0.01, 1.0), st.sampled_from([0.8, 0.95, 0.999]))
def test_guards_lie_inside_on_either_side(u, probability):
    upper = acceptance_limit(10.0, u, probability=probability)
    lower = acceptance_limit(10.0, u, probability=probability, side="lower")
    assert upper < 10.0 < lower
    assert lower - 10.0 == pytest.approx(10.0 - upper)


def prior(true):
    return math.exp(-(true**2) / 2) / math.sqrt(2 * math.pi)


def test_a_guard_band_trades_one_risk_for_the_other():
    limits, support = Tolerance(low=-2.0, high=2.0), Tolerance(low=-9.0, high=9.0)
    plain = global_risk(prior, 0.3, limits, limits, support=support)
    guarded = global_risk(prior, 0.3, limits, Tolerance(low=-1.5, high=1.5), support=support)
    assert guarded.consumer < plain.consumer
    assert guarded.producer > plain.producer


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Tolerance(low=2.0, high=1.0), "lower limit below its upper one"),
        (lambda: Tolerance(low=math.nan), "lower limit below its upper one"),
        (lambda: conformity_probability(1.0, 0.0, Tolerance()), "positive finite standard"),
        (lambda: conformity_probability(1.0, math.nan, Tolerance()), "positive finite standard"),
        (lambda: guard_factor(0.4), r"\[0.5, 1\)"),
        (lambda: rejection_limit(100.0, 0.5, probability=0.999), "allows no guarded rejection"),
        (
            lambda: acceptance_limit_for_risk(
                prior, 0.1, 2.0, risk=0.9, support=Tolerance(low=-9.0, high=9.0)
            ),
            "No acceptance limit near 2",
        ),
    ],
)
def test_what_is_refused_and_why(make, words):
    with pytest.raises(ValueError, match=words):
        make()
