"""JCGM 102:2011 (several outputs) and JCGM 106:2012 (conformity), printed and run figures."""

import numpy as np
import pytest

from annot.uncertainty import (
    Correlation,
    Tolerance,
    acceptance_limit,
    acceptance_limit_for_risk,
    conformity_probability,
    global_risk,
    guard_factor,
    propagate_outputs,
    region_factor,
    rejection_limit,
    simulate_jointly,
    stated,
)
from tests.worked_examples.checks import as_printed, with_check


@with_check("s2-9.3")
@pytest.mark.parametrize("re", ["0.001", "0.010", "0.100"])
@pytest.mark.parametrize("rho", [0.0, 0.9])
def test_102_9_3_magnitude_and_phase(example, rho, re):
    inputs = [
        stated(float(re), 0.01, key="re", unit="1", source=""),
        stated(0.0, 0.01, key="im", unit="1", source=""),
    ]
    related = [Correlation(first="re", second="im", coefficient=rho)] if rho else []
    outputs = propagate_outputs(
        lambda a, b: (np.hypot(a, b), np.arctan2(b, a)),
        inputs,
        units=["1", "rad"],
        correlations=related,
    )
    # the phase's mean has a standard error of 1.7/√draws; its tolerance is 0.002
    rng = np.random.Generator(np.random.SFC64(11))
    found = simulate_jointly(outputs, draws=4_000_000, rng=rng)
    expected = example["expected"]["rho09" if rho else "rho0"][re]
    spread = np.sqrt(np.diag(found.covariance))
    magnitude, phase = example["tolerance"]["magnitude"], example["tolerance"]["phase"]
    assert found.values[0] == pytest.approx(expected["mag"], abs=magnitude)
    assert spread[0] == pytest.approx(expected["u_mag"], abs=magnitude)
    assert found.values[1] == pytest.approx(expected["phase"], abs=phase)
    assert spread[1] == pytest.approx(expected["u_phase"], abs=phase)


@with_check("s2-6.5-kp")
def test_102_6_5_factors_of_regions(example):
    expected, tolerance = example["expected"], example["tolerance"]["value"]
    ellipsoid = [region_factor(m, kind="ellipsoid") for m in example["inputs"]["m"]]
    assert ellipsoid == pytest.approx(expected["hyper_ellipsoid"], abs=tolerance)
    rectangle = [region_factor(m, kind="rectangle") for m in example["inputs"]["m"]]
    assert rectangle == pytest.approx(expected["hyper_rectangle_bonferroni"], abs=tolerance)


@with_check("c106-conformance")
def test_106_probability_of_conformity(example):
    figures = example["expected"]["pc"]
    for case, printed, run in zip(
        example["inputs"]["cases"], figures["published"], figures["value"], strict=True
    ):
        tolerance = Tolerance(low=case.get("TL", -np.inf), high=case.get("TU", np.inf))
        found = conformity_probability(case["y"], case["u"], tolerance)
        assert as_printed(found, printed)
        assert found == pytest.approx(run, abs=example["tolerance"]["value"])


@with_check("c106-z")
def test_106_guard_factors(example):
    for probability, z in zip(
        example["inputs"]["pc"], example["expected"]["z"]["value"], strict=True
    ):
        assert guard_factor(probability) == pytest.approx(z, abs=example["tolerance"]["value"])
        limit = acceptance_limit(5.0, 0.1, probability=probability)
        # a value on the guarded limit conforms with just that probability
        on_it = conformity_probability(limit, 0.1, Tolerance(high=5.0))
        assert on_it == pytest.approx(probability, rel=1e-12)


@with_check("c106-speed")
def test_106_guarded_rejection_of_a_speed(example):
    inputs, figure = example["inputs"], example["expected"]["v"]
    found = rejection_limit(inputs["limit"], inputs["rel_u"], probability=inputs["prob"])
    assert as_printed(found, figure["published"])
    assert found == pytest.approx(figure["value"], rel=1e-9)


@with_check("c106-bearing")
def test_106_9_5_4_ball_bearings(example):
    from scipy.stats import gamma

    prior, inputs, expected = gamma(4, scale=1 / 4), example["inputs"], example["expected"]
    limit, tolerance = inputs["TU"], example["tolerance"]["value"]
    support = Tolerance(low=0.0, high=20.0)
    # a diameter below zero is no measured value, so what is accepted lies within 0 to the limit
    simple = Tolerance(low=0.0, high=limit)
    found = global_risk(prior.pdf, inputs["um"], simple, simple, support=support)
    assert found.consumer == pytest.approx(expected["consumer_risk_simple"]["value"], abs=tolerance)
    assert found.producer == pytest.approx(expected["producer_risk_simple"], abs=tolerance)
    assert prior.sf(limit) == pytest.approx(expected["p_nonconform"]["value"], abs=tolerance)
    accepted = acceptance_limit_for_risk(
        prior.pdf, inputs["um"], limit, risk=inputs["target_consumer_risk"], support=support
    )
    assert accepted == pytest.approx(expected["acceptance_limit"]["value"], abs=tolerance)
    assert as_printed(accepted, expected["acceptance_limit"]["published"])


@with_check("c106-global-normal")
@pytest.mark.parametrize("guard", ["", "0.08", "0.04", "0.02", "-0.02"])
def test_106_global_risk_of_a_normal_process(example, guard):
    from scipy.stats import norm

    inputs, expected = example["inputs"], example["expected"]
    prior = norm(inputs["y0"], inputs["u0"])
    limits = Tolerance(low=inputs["TL"], high=inputs["TU"])
    band = float(guard or 0)
    found = global_risk(
        prior.pdf,
        inputs["um"],
        limits,
        Tolerance(low=limits.low + band, high=limits.high - band),
        support=Tolerance(low=1498.5, high=1501.5),
    )
    simple = [expected["RC_simple"], expected["RP_simple"]]
    wanted = expected["guard"][guard] if guard else simple
    assert [found.consumer, found.producer] == pytest.approx(
        wanted, abs=example["tolerance"]["value"]
    )
