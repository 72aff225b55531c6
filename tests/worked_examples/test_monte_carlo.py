"""JCGM 101:2008 and published skew examples, by drawing; and where first order must give way."""

import math

import numpy as np
import pytest

from annot.uncertainty import (
    Correlation,
    InputQuantity,
    curvilinear_trapezoid,
    estimate,
    expand,
    numerical_tolerance,
    propagate,
    rectangular,
    second_order,
    simulate,
    stated,
)
from annot.uncertainty.limits import arcsine
from tests.worked_examples.checks import as_printed, with_check

MICRO = 1e-6


def limits(low, high, key):
    return rectangular((low + high) / 2, (high - low) / 2, key=key, unit="1", source="limits")


def normal(pair, key):
    return stated(pair[0], pair[1], key=key, unit="1", source="")


def ends(interval):
    return [interval.low, interval.high]


@with_check("s1-7.9-tolerance")
def test_7_9_numerical_tolerance(example):
    for (u, digits), delta in zip(
        example["inputs"]["cases"], example["expected"]["delta"], strict=True
    ):
        assert numerical_tolerance(u, digits=digits) == pytest.approx(delta, rel=1e-12)


def test_a_tolerance_knows_that_0_0996_is_printed_0_10():
    assert numerical_tolerance(0.0996, digits=2) == pytest.approx(0.005)
    assert numerical_tolerance(0.0994, digits=2) == pytest.approx(0.0005)


def total(inputs):
    return propagate(lambda *values: sum(values), inputs, unit="1")


@with_check("s1-9.2.2")
def test_9_2_2_sum_of_four_normals(example):
    found = simulate(total([normal((0.0, 1.0), f"x{n}") for n in range(4)]), draws=1_000_000)
    assert found.value == pytest.approx(0.0, abs=0.01)
    assert found.u == pytest.approx(example["expected"]["u"]["value"], abs=0.01)
    # the shortest interval of a sample is placed loosely; its width is not
    assert found.interval.half_width == pytest.approx(3.92, abs=example["tolerance"]["end"])


@with_check("s1-9.2.3")
def test_9_2_3_sum_of_four_rectangles(example):
    a = example["inputs"]["half_width"]
    result = total([limits(-a, a, f"x{n}") for n in range(4)])
    found = simulate(result, draws=1_000_000, kind="symmetric")
    assert found.u == pytest.approx(2.0, abs=0.01)
    assert ends(found.interval) == pytest.approx(
        example["expected"]["ci95"]["value"], abs=example["tolerance"]["end"]
    )
    # 3.92 by first order and 3.88 exactly: closer than one digit of u = 2.0
    assert estimate(result).method == "first order"


@with_check("s1-9.2.4")
def test_9_2_4_one_rectangle_ten_times_wider(example):
    widths = [sd * math.sqrt(3) for sd in example["inputs"]["sd"]]
    result = total([limits(-a, a, f"x{n}") for n, a in enumerate(widths)])
    expected, tolerance = example["expected"], example["tolerance"]["end"]
    assert result.u == pytest.approx(expected["u"]["value"], rel=1e-9)
    assert ends(expand(result)) == pytest.approx(expected["ci95_gum"]["value"], abs=1e-3)
    answer = estimate(result, kind="symmetric")
    assert answer.method == "monte carlo"
    assert ends(answer.interval) == pytest.approx(expected["ci95_mc"]["value"], abs=tolerance)


def mass(inputs):
    """Return the deviation of 9.3 in mg, in which one factor is zero at the estimates."""
    names = {"ra": limits(*inputs["ra"]["rect"], "ra"), "rW": limits(*inputs["rW"]["rect"], "rW")}
    return propagate(
        lambda m, d, a, w, r: (m + d) * (1 + (a - 1.2) * (1 / w - 1 / r)) - 1e5,
        [
            normal(inputs["mRc"]["normal"], "mRc"),
            normal(inputs["dmRc"]["normal"], "dmRc"),
            names["ra"],
            names["rW"],
            limits(*inputs["rR"]["rect"], "rR"),
        ],
        unit="mg",
    )


@with_check("s1-9.3")
def test_9_3_mass_calibration_by_three_methods(example):
    result, expected = mass(example["inputs"]), example["expected"]
    tolerance = example["tolerance"]
    first = [result.value, result.u, *ends(expand(result))]
    assert all(map(as_printed, first, expected["gum1"]["published"]))
    assert second_order(result).u == pytest.approx(expected["gum2"]["value"][1], abs=0.0005)
    found = simulate(result, draws=1_000_000)
    value, u, low, high = expected["mcm"]["value"]
    assert found.value == pytest.approx(value, abs=tolerance["mean"])
    assert found.u == pytest.approx(u, abs=tolerance["u"])
    assert ends(found.interval) == pytest.approx([low, high], abs=tolerance["end"])


@with_check("s1-9.3")
def test_9_3_fails_the_comparison(example):
    answer = estimate(mass(example["inputs"]))
    assert answer.method == "monte carlo"
    assert answer.first_order_value == pytest.approx(1.234, abs=1e-9)
    assert answer.u == pytest.approx(0.0755, abs=0.0005)


def loss(x1, r=0.0):
    """Return x₁² + x₂² of 9.4, the loss of a length that is seen under a tilt about two axes."""
    inputs = [normal((x1, 0.005), "x1"), normal((0.0, 0.005), "x2")]
    related = [Correlation(first="x1", second="x2", coefficient=r)] if r else []
    return propagate(lambda a, b: a**2 + b**2, inputs, unit="1", correlations=related)


@with_check("s1-9.4-r0")
@pytest.mark.parametrize("x1", [0.0, 0.01, 0.05])
def test_9_4_independent_against_the_exact_law(example, x1):
    result, exact = loss(x1), example["expected"]["exact"][str(x1)]
    found = simulate(result, draws=1_000_000)
    assert found.value / MICRO == pytest.approx(exact["mean_1e6"], rel=0.005)
    assert found.u / MICRO == pytest.approx(exact["sd_1e6"], rel=0.005)
    shortest = np.array(ends(found.interval)) / MICRO
    assert shortest == pytest.approx(exact["short95_1e6"], abs=10)
    symmetric = simulate(result, draws=1_000_000, kind="symmetric").interval
    assert np.array(ends(symmetric)) / MICRO == pytest.approx(exact["sym95_1e6"], rel=0.01)


@with_check("s1-9.4-r0")
@pytest.mark.parametrize("x1", ["0", "0.010", "0.050"])
def test_9_4_first_order_is_as_printed_and_fails_the_comparison(example, x1):
    result, printed = loss(float(x1)), example["expected"]["gum"]["published"][x1]
    found = [result.value / MICRO, result.u / MICRO, *np.array(ends(expand(result))) / MICRO]
    assert found == pytest.approx([*printed[:2], *printed[2]], abs=0.5)
    answer = estimate(result)
    assert answer.method == "monte carlo"
    assert answer.interval.holds(answer.value)
    assert answer.u > 0
    assert answer.first_order_value == pytest.approx(float(x1) ** 2)


@with_check("s1-9.4-r09")
@pytest.mark.parametrize("x1", ["0", "0.010", "0.050"])
def test_9_4_correlated(example, x1):
    result, expected = loss(float(x1), r=example["inputs"]["r"]), example["expected"]
    found = simulate(result, draws=1_000_000)
    moments = [found.value / MICRO, found.u / MICRO]
    assert moments == pytest.approx(
        expected["exact_moments"][x1], rel=example["tolerance"]["moment_rel"]
    )
    shortest = np.array(ends(found.interval)) / MICRO
    assert shortest == pytest.approx(expected["mc_8e6_short95"][x1], abs=10)
    assert shortest == pytest.approx(expected["mcm_shortest"]["published"][x1][2], abs=10)
    # the moments of the second-order model are exact for a quadratic one
    bent = second_order(result)
    assert [(result.value + bent.shift) / MICRO, bent.spread / MICRO] == pytest.approx(
        expected["exact_moments"][x1], rel=1e-6
    )
    assert estimate(result).method == "monte carlo"


def gauge_block(inputs):
    """Return 9.5 in nm less 50 mm, with the distributions that the supplement gives."""
    scaled = {
        key: InputQuantity(
            key=key, value=inputs[key]["t"][0], u=inputs[key]["t"][1], dof=inputs[key]["t"][2],
            unit="nm", distribution="t",
        )
        for key in ("Ls", "D", "d1", "d2")
    }  # fmt: skip
    low, high, vague = inputs["da"]["ctrap"]
    words = {"unit": "1", "source": "vague limits"}
    d_alpha = curvilinear_trapezoid((low + high) / 2, (high - low) / 2, vague, key="da", **words)
    low, high, vague = inputs["dt"]["ctrap"]
    d_theta = curvilinear_trapezoid((low + high) / 2, (high - low) / 2, vague, key="dt", **words)
    return propagate(
        lambda ls, d, d1, d2, a, mean, swing, da, dt: (
            (ls * (1 + a * (mean + swing - dt)) + d + d1 + d2) / (1 + (a + da) * (mean + swing))
            - 5e7
        ),
        [
            *scaled.values(),
            limits(*inputs["alpha_s"]["rect"], "alpha_s"),
            normal(inputs["th0"]["normal"], "th0"),
            arcsine(0.0, inputs["Delta"]["arcsine"][1], key="Delta", unit="K", source="cyclic"),
            d_alpha,
            d_theta,
        ],
        unit="nm",
    )


@with_check("s1-9.5")
def test_9_5_gauge_block(example):
    found = simulate(gauge_block(example["inputs"]), probability=0.99, draws=4_000_000)
    value, u, interval = example["expected"]["mcm"]["value"]
    assert as_printed(found.value, "838")
    assert found.value == pytest.approx(value, abs=0.1)
    assert as_printed(found.u, example["expected"]["mcm"]["printed_u"])
    assert found.u == pytest.approx(u, abs=example["tolerance"]["u"])
    symmetric = simulate(
        gauge_block(example["inputs"]), probability=0.99, draws=4_000_000, kind="symmetric"
    )
    assert ends(symmetric.interval) == pytest.approx(interval, abs=example["tolerance"]["end"])


def test_9_5_limits_with_degrees_of_freedom_are_vague_limits():
    """9.5 turns the 50 and 2 degrees of H.1 into limits vague by 1e-7 of 1e-6 and 0.025 of 0.05."""
    for dof, ratio in ((50, 0.1), (2, 0.5)):
        plain = InputQuantity(
            key="x", value=0.0, u=1 / math.sqrt(3), dof=dof, unit="1", distribution="rectangular"
        )
        vague = curvilinear_trapezoid(0.0, 1.0, ratio, key="x", unit="1", source="")
        one = simulate(plain, draws=100_000)
        assert one.u == pytest.approx(vague.u, rel=5e-3)
        assert one.interval.high <= 1 + ratio


@with_check("tn1900-e3")
def test_a_viscometers_skew_result(example):
    names = ("muC", "rB", "rM", "rC", "tM", "tC")
    inputs = [normal(example["inputs"][name], name) for name in names]
    result = propagate(
        lambda mu, rb, rm, rc, tm, tc: mu * (rb - rm) / (rb - rc) * tm / tc, inputs, unit="mPa s"
    )
    expected, tolerance = example["expected"], example["tolerance"]
    assert result.value == pytest.approx(expected["first_order"]["value"], rel=1e-9)
    found = simulate(result, draws=1_000_000, kind="symmetric")
    assert found.value == pytest.approx(expected["mean"]["value"], abs=tolerance["mean"])
    assert found.u == pytest.approx(expected["u"]["value"], abs=tolerance["mean"])
    assert ends(found.interval) == pytest.approx(
        expected["ci95_sym"]["value"], abs=tolerance["end"]
    )
    assert estimate(result).method == "monte carlo"


@with_check("npl-log")
def test_a_logarithm_over_a_wide_rectangle(example):
    result = propagate(np.log, [limits(*example["inputs"]["x"]["rect"], "x")], unit="1")
    expected, tolerance = example["expected"], example["tolerance"]
    assert result.value == pytest.approx(expected["gum_estimate"]["value"], rel=1e-9)
    assert result.u == pytest.approx(expected["gum_u"]["value"], rel=1e-6)
    found = simulate(result, draws=2_000_000)
    assert found.value == pytest.approx(expected["mc_mean"]["value"], abs=tolerance["value"])
    assert found.u == pytest.approx(expected["mc_u"]["value"], abs=tolerance["value"])
    low, high = expected["shortest95"]["value"]
    assert found.interval.low == pytest.approx(low, abs=tolerance["lower_end"])
    assert found.interval.high == pytest.approx(high, abs=tolerance["value"])
    assert estimate(result).method == "monte carlo"


@with_check("tn1900-e13")
def test_a_thermal_expansion_of_t_inputs(example):
    inputs = [
        InputQuantity(key=k, value=v[0], u=v[1], dof=3, unit="1", distribution="t")
        for k, v in example["inputs"].items()
        if k in {"L0", "T0", "L1", "T1"}
    ]
    by_key = {one.key: one for one in inputs}
    result = propagate(
        lambda l0, l1, t0, t1: (l1 - l0) / (l0 * (t1 - t0)),
        [by_key[name] for name in ("L0", "L1", "T0", "T1")],
        unit="1/K",
    )
    printed = [float(text) for text in example["expected"]["gum"]["published"].split(", ")]
    assert result.value == pytest.approx(printed[0], abs=0.5e-9)
    assert result.u == pytest.approx(printed[1], abs=0.5e-8)
    # a t of 3 degrees has √3 times the standard deviation of its scale
    assert simulate(result, draws=1_000_000).u == pytest.approx(printed[1] * 3**0.5, rel=0.03)


@with_check("foreshortening-unknown-tilt")
@pytest.mark.parametrize("sigma_deg", ["5", "10", "15"])
def test_the_loss_under_a_normal_tilt(example, sigma_deg):
    expected = example["expected"][sigma_deg]["one_axis"]
    tilt = normal((0.0, math.radians(float(sigma_deg))), "tilt")
    seen = propagate(np.cos, [tilt], unit="1")
    assert seen.u == pytest.approx(0.0, abs=1e-12)
    answer = estimate(seen)
    assert answer.method == "monte carlo"
    assert answer.value == pytest.approx(expected["E_cos"], rel=1e-3)
    assert answer.u == pytest.approx(expected["sd_cos"], rel=0.01)
    # 95 % of the losses lie below: the one-sided interval is the shortest
    assert 1 - answer.interval.low == pytest.approx(expected["q95_loss"], rel=0.015)
