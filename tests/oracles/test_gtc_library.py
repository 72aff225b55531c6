"""GTC (MIT, automatic differentiation) on the same examples and on drawn models."""

import itertools
import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Correlation,
    InputColumn,
    InputQuantity,
    budget,
    covariance,
    from_simultaneous_repeats,
    propagate,
    propagate_column,
    propagate_outputs,
    rectangular,
    stated,
    straight_line,
)
from tests.strategies import uncertainties_of_input
from tests.worked_examples.checks import with_check
from tests.worked_examples.test_gum_together import gauge_of


@with_check("gum-H1")
def test_the_end_gauge(example):
    inputs = example["inputs"]
    parts = [GTC.ureal(one["x"], one["u"], one["nu"]) for one in inputs["d_components"]]
    ls = GTC.ureal(inputs["ls"]["x"], inputs["ls"]["u"], inputs["ls"]["nu"])
    alpha, d_alpha, d_theta = (
        GTC.ureal(
            inputs[name]["x"],
            inputs[name]["rect_half_width"] / math.sqrt(3),
            inputs[name].get("nu", math.inf),
        )
        for name in ("alpha_s", "d_alpha", "d_theta")
    )
    theta = GTC.ureal(inputs["theta"]["x"], inputs["theta"]["u_mean"])
    theta += GTC.ureal(0, inputs["theta"]["arcsine_half_width"] / math.sqrt(2))
    theirs = ls + sum(parts) - ls * (d_alpha * theta + alpha * d_theta)
    ours = gauge_of(inputs)
    assert ours.value == pytest.approx(theirs.x, rel=1e-14)
    assert ours.u == pytest.approx(theirs.u, rel=1e-5)
    assert ours.dof == pytest.approx(theirs.df, rel=1e-4)
    by_them = [GTC.reporting.u_component(theirs, one) for one in (ls, *parts, d_alpha, d_theta)]
    largest = sorted((abs(row.contribution) for row in budget(ours)), reverse=True)
    assert largest[:6] == pytest.approx(sorted(map(abs, by_them), reverse=True), rel=1e-4)


@with_check("gum-H2")
def test_simultaneous_readings(example):
    inputs = example["inputs"]
    columns = [inputs[name] for name in ("V", "I_mA", "phi_rad")]
    v, i, phi = GTC.type_a.multi_estimate_real(columns)
    theirs = [v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i]
    means, related = from_simultaneous_repeats(
        np.array(columns).T, keys=["V", "I", "phi"], units=["V", "mA", "rad"]
    )
    ours = propagate_outputs(
        lambda v, i, phi: (v / i * np.cos(phi), v / i * np.sin(phi), v / i),
        means,
        units=["kohm"] * 3,
        correlations=related,
    )
    for own, other in zip(ours, theirs, strict=True):
        assert own.value == pytest.approx(other.x, rel=1e-12)
        assert own.u == pytest.approx(other.u, rel=1e-7)
        assert own.dof == pytest.approx(other.df, rel=1e-9)
    for (a, b), (c, d) in zip(
        itertools.combinations(ours, 2), itertools.combinations(theirs, 2), strict=True
    ):
        assert covariance(a, b) == pytest.approx(GTC.get_covariance(c, d), rel=1e-6)


@with_check("gum-H3")
def test_a_line(example):
    inputs = example["inputs"]
    x = np.array(inputs["t"]) - inputs["t0"]
    theirs = GTC.type_a.line_fit(x, inputs["b"]).a_b
    intercept, slope, related = straight_line(x, inputs["b"], key="l", unit="K", slope_unit="1")
    for own, other in ((intercept, theirs.a), (slope, theirs.b)):
        assert own.value == pytest.approx(other.x, rel=1e-11)
        assert own.u == pytest.approx(other.u, rel=1e-11)
        assert own.dof == other.df
    assert related.coefficient == pytest.approx(GTC.get_correlation(theirs.a, theirs.b), rel=1e-11)
    ours = propagate(lambda a, b: a + 10 * b, [intercept, slope], unit="K", correlations=[related])
    at_30 = theirs.a + 10 * theirs.b
    assert ours.u == pytest.approx(at_30.u, rel=1e-9)
    assert ours.dof == pytest.approx(at_30.df, rel=1e-9)


@with_check("shared-calibration")
def test_lengths_under_one_calibration(example):
    inputs, expected = example["inputs"], example["expected"]
    size = InputQuantity(key="D", value=inputs["D"]["x"], u=inputs["D"]["u"], unit="mm")
    seen = InputQuantity(key="p", value=inputs["p"]["x"], u=inputs["p"]["u"], unit="px")
    scale = propagate(lambda d, p: d / p, [size, seen], unit="mm/px")
    columns = [
        InputColumn(key=name, values=values, u=inputs["u_endpoint"], unit="px", component="ends")
        for name, values in zip("abcd", np.array(inputs["endpoints"]).T, strict=True)
    ]
    ours = propagate_column(
        lambda s, x1, y1, x2, y2: np.sqrt((x2 - x1) ** 2 + (y2 - y1) ** 2) * s,
        [scale],
        columns,
        unit="mm",
    )
    d = GTC.ureal(inputs["D"]["x"], inputs["D"]["u"])
    p = GTC.ureal(inputs["p"]["x"], inputs["p"]["u"])
    ends = [[GTC.ureal(x, inputs["u_endpoint"]) for x in row] for row in inputs["endpoints"]]
    theirs = [GTC.sqrt((c - a) ** 2 + (e - b) ** 2) * d / p for a, b, c, e in ends]
    matrix = ours.covariance()
    for row in range(2):
        assert ours.values[row] == pytest.approx(theirs[row].x, rel=1e-13)
        assert ours.u[row] == pytest.approx(theirs[row].u, rel=1e-9)
        assert matrix[row, row] == pytest.approx(theirs[row].u ** 2, rel=1e-9)
    assert matrix[0, 1] == pytest.approx(GTC.get_covariance(*theirs), rel=1e-9)
    assert ours.values[0] == pytest.approx(expected["L0"], rel=1e-10)
    assert ours.u[0] == pytest.approx(expected["u0"], rel=1e-9)
    r = matrix[0, 1] / (ours.u[0] * ours.u[1])
    assert r == pytest.approx(expected["r01"], rel=1e-9)


number = st.floats(0.5, 20.0)
dofs = st.one_of(st.just(math.inf), st.floats(1.0, 100.0))


@given(st.lists(st.tuples(number, uncertainties_of_input, dofs), min_size=3, max_size=3))
def test_value_uncertainty_and_effective_degrees_of_a_curved_model(three):
    ours = propagate(
        lambda a, b, c: np.sqrt(a * a + b * b) / c,
        [
            InputQuantity(key=f"x{n}", value=x, u=u, unit="1", dof=dof)
            for n, (x, u, dof) in enumerate(three)
        ],
        unit="1",
    )
    a, b, c = (GTC.ureal(x, u, dof) for x, u, dof in three)
    theirs = GTC.sqrt(a * a + b * b) / c
    assert ours.value == pytest.approx(theirs.x, rel=1e-12)
    assert ours.u == pytest.approx(theirs.u, rel=1e-7)
    assert ours.dof == pytest.approx(min(theirs.df, 1e300), rel=1e-6) or math.isinf(theirs.df)


@given(number, number, st.floats(-0.99, 0.99), uncertainties_of_input)
def test_two_stated_correlations(x, y, r, u):
    ours = propagate(
        lambda a, b: a / b,
        [stated(x, u, key="a", unit="1", source=""), stated(y, 0.1, key="b", unit="1", source="")],
        unit="1",
        correlations=[Correlation(first="a", second="b", coefficient=r)],
    )
    a, b = GTC.ureal(x, u, independent=False), GTC.ureal(y, 0.1, independent=False)
    GTC.set_correlation(r, a, b)
    assert ours.u == pytest.approx((a / b).u, rel=1e-6)


@given(st.lists(number, min_size=2, max_size=6, unique=True), number)
def test_every_covariance_of_a_column(values, factor):
    shared = rectangular(factor, 0.1, key="s", unit="1", source="")
    column = InputColumn(key="x", values=np.array(values), u=np.full(len(values), 0.2), unit="1")
    ours = propagate_column(lambda s, x: s * x**2, [shared], [column], unit="1")
    s = GTC.ureal(factor, 0.1 / math.sqrt(3))
    theirs = [s * GTC.ureal(x, 0.2) ** 2 for x in values]
    for i, j in itertools.combinations_with_replacement(range(len(values)), 2):
        wanted = GTC.get_covariance(theirs[i], theirs[j]) if i != j else theirs[i].u ** 2
        assert ours.covariance()[i, j] == pytest.approx(wanted, rel=1e-7)
