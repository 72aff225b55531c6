"""JCGM 100:2008 annex H where inputs or outputs hang together: H.1 second order, H.2, H.3, H.4."""

import math

import numpy as np
import pytest

from annot.uncertainty import (
    InputQuantity,
    covariance,
    coverage_factor,
    estimate,
    from_simultaneous_repeats,
    propagate,
    propagate_outputs,
    relative_u_of_spread,
    second_order,
    simulate,
    stated,
    straight_line,
)
from annot.uncertainty.limits import arcsine, trapezoidal, triangular
from annot.uncertainty.type_b import rectangular
from tests.worked_examples.checks import as_printed, with_check


def gauge_of(inputs):
    """Return the result of H.1 in nm; θ is a mean and a cyclic swing."""
    parts = [
        InputQuantity(key=f"d{n}", value=one["x"], u=one["u"], dof=one["nu"], unit="nm")
        for n, one in enumerate(inputs["d_components"])
    ]
    ls = inputs["ls"]
    vague = {
        name: InputQuantity(
            key=name,
            value=inputs[name]["x"],
            u=inputs[name]["rect_half_width"] / math.sqrt(3),
            dof=inputs[name].get("nu", math.inf),
            unit="1",
            distribution="rectangular",
        )
        for name in ("alpha_s", "d_alpha", "d_theta")
    }
    theta = inputs["theta"]
    mean = stated(theta["x"], theta["u_mean"], key="theta", unit="K", source="")
    swing = arcsine(0.0, theta["arcsine_half_width"], key="swing", unit="K", source="cyclic")
    standard = InputQuantity(key="ls", value=ls["x"], u=ls["u"], dof=ls["nu"], unit="nm")
    return propagate(
        lambda ls, d0, d1, d2, a, da, dt, t, s: ls + d0 + d1 + d2 - ls * (da * (t + s) + a * dt),
        [standard, *parts, vague["alpha_s"], vague["d_alpha"], vague["d_theta"], mean, swing],
        unit="nm",
    )


@with_check("gum-H1")
def test_h_1_to_first_and_to_second_order(example):
    expected, length = example["expected"], gauge_of(example["inputs"])
    assert as_printed(length.value, expected["l"]["published"])
    assert as_printed(length.u, expected["uc"]["published"])
    assert length.u == pytest.approx(expected["uc"]["value"], rel=example["tolerance"]["value"])
    assert length.dof == pytest.approx(expected["nu_eff"]["value"], rel=1e-4)
    assert math.floor(length.dof) == 16
    k = coverage_factor(16, probability=0.99)
    assert as_printed(k, expected["k99"]["published"])
    assert as_printed(second_order(length).u, expected["uc_with_second_order"]["published"])
    assert second_order(length).u == pytest.approx(33.9, abs=0.15)


@with_check("gum-H2")
def test_h_2_resistance_reactance_impedance(example):
    inputs, expected = example["inputs"], example["expected"]
    readings = np.array([inputs["V"], inputs["I_mA"], inputs["phi_rad"]]).T
    means, related = from_simultaneous_repeats(
        readings, keys=["V", "I_mA", "phi"], units=["V", "mA", "rad"]
    )
    for one in means:
        assert as_printed(one.value, expected["means"][one.key]["published"])
        assert as_printed(one.u, expected["u"][one.key]["published"])
    found_r = {f"{one.first}_{one.second}".replace("_mA", ""): one.coefficient for one in related}
    for pair, figure in expected["r_in"].items():
        assert as_printed(found_r[pair], figure["published"])
        assert found_r[pair] == pytest.approx(figure["value"], rel=1e-9)
    outputs = propagate_outputs(
        lambda v, i, phi: (1e3 * v / i * np.cos(phi), 1e3 * v / i * np.sin(phi), 1e3 * v / i),
        means,
        units=["ohm"] * 3,
        correlations=related,
    )
    by_name = dict(zip("RXZ", outputs, strict=True))
    for name, output in by_name.items():
        assert as_printed(output.value, expected[name]["published"])
        assert output.u == pytest.approx(expected[f"u_{name}"]["value"], rel=1e-6)
        assert abs(output.u - float(expected[f"u_{name}"]["published"])) < 0.001
        assert output.dof == pytest.approx(4)  # five sets of readings taken together
    for pair, figure in expected["r_out"].items():
        first, second = (by_name[name] for name in pair.split("_"))
        r = covariance(first, second) / (first.u * second.u)
        assert as_printed(r, figure["published"])
        assert r == pytest.approx(figure["value"], rel=1e-6)


def thermometer(inputs):
    """Return the line of H.3 and its prediction at 30 degrees."""
    intercept, slope, related = straight_line(
        np.array(inputs["t"]) - inputs["t0"], inputs["b"], key="line", unit="K", slope_unit="1"
    )
    at_30 = propagate(
        lambda y1, y2: y1 + y2 * (30 - inputs["t0"]),
        [intercept, slope],
        unit="K",
        correlations=[related],
    )
    return intercept, slope, related, at_30


@with_check("gum-H3")
def test_h_3_a_thermometers_line(example):
    intercept, slope, related, at_30 = thermometer(example["inputs"])
    found = {
        "y1": intercept.value, "u_y1": intercept.u, "y2": slope.value, "u_y2": slope.u,
        "r": related.coefficient, "b_30": at_30.value, "u_b_30": at_30.u,
    }  # fmt: skip
    for name, value in found.items():
        figure = example["expected"][name]
        assert as_printed(value, figure["published"]), name
        assert value == pytest.approx(figure["value"], rel=1e-8), name
    assert at_30.dof == pytest.approx(example["expected"]["dof"])


@with_check("gum-H3")
def test_h_3_passes_the_comparison_with_monte_carlo(example):
    at_30 = thermometer(example["inputs"])[3]
    answer = estimate(at_30)
    assert answer.method == "first order"
    assert answer.reason == "simulation agrees"  # it was compared, not waved through
    simulated = simulate(at_30)
    # the t of 9 degrees that both must be: sd = u·√(9/7)
    assert simulated.u == pytest.approx(at_30.u * math.sqrt(9 / 7), rel=5e-3)


@with_check("gum-H4")
def test_h_4_ratio_of_two_correlated_means(example):
    inputs, expected = example["inputs"], example["expected"]
    decay = [inputs["lambda_per_min"] * np.array(inputs[name]) for name in ("tx", "tS")]
    counts = [np.array(inputs[name]) for name in ("Cx", "CS")]
    background, minutes = np.array(inputs["CB"]), inputs["T0_min"]
    rates = [(c - background) / minutes * np.exp(d) for c, d in zip(counts, decay, strict=True)]
    means, related = from_simultaneous_repeats(
        np.array(rates).T, keys=["Rx", "RS"], units=["1/min"] * 2
    )
    for one in means:
        assert one.value == pytest.approx(expected[one.key], rel=1e-9)
        assert one.u == pytest.approx(expected[f"u_{one.key}"], rel=1e-9)
    assert as_printed(related[0].coefficient, expected["r"]["published"])
    activity, standard_mass, mass = (
        stated(inputs[name]["x"], inputs[name]["u"], key=name, unit="1", source="certificate")
        for name in ("AS", "mS", "mx")
    )
    ratio = propagate(lambda x, s: x / s, means, unit="1", correlations=related)
    sample = propagate(
        lambda a, ms, mx, x, s: a * ms / mx * x / s,
        [activity, standard_mass, mass, *means],
        unit="Bq/g",
        correlations=related,
    )
    assert as_printed(ratio.value, expected["R1"]["published"])
    assert ratio.u == pytest.approx(expected["u_R1"]["value"], rel=1e-6)
    assert as_printed(sample.value, expected["Ax1"]["published"], slack=1.1)  # 0.42995 by run
    assert as_printed(sample.u, expected["u_Ax1"]["published"])
    assert sample.u == pytest.approx(expected["u_Ax1"]["value"], rel=1e-6)


@with_check("gum-typeB-divisors")
def test_divisors_of_half_widths(example):
    expected, words = example["expected"], {"key": "a", "unit": "1", "source": "limits"}
    assert rectangular(0.0, 1.0, **words).u == pytest.approx(expected["rectangular"], rel=1e-9)
    assert triangular(0.0, 1.0, **words).u == pytest.approx(expected["triangular"], rel=1e-9)
    assert arcsine(0.0, 1.0, **words).u == pytest.approx(expected["arcsine"], rel=1e-9)
    beta = example["inputs"]["beta_for_trapezoid"]
    assert trapezoidal(0.0, 1.0, beta, **words).u == pytest.approx(
        expected["trapezoid_beta_0_5"], rel=1e-9
    )


@with_check("gum-E1")
def test_e_1_how_well_a_standard_deviation_is_known(example):
    figures = example["expected"]["percent"]
    for n, printed, run in zip(
        example["inputs"]["n"], figures["published"], figures["value"], strict=True
    ):
        percent = 100 * relative_u_of_spread(n)
        # the table prints whole percents: 75.55 as 76, 36.3 as 36
        assert abs(percent - float(printed)) <= example["tolerance"]["percent"]
        assert percent == pytest.approx(run, abs=example["tolerance"]["value"])
