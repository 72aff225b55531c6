"""mcerp (BSD-3, Latin hypercube of scipy distributions) on the examples that need drawing.

The conformity of JCGM 106 is checked against scipy's multivariate normal probability.
"""

import mcerp
import numpy as np
import pytest

from annot.uncertainty import (
    Tolerance,
    conformity,
    conformity_probability,
    global_risk,
    guard_factor,
    propagate,
    rejection_limit,
    simulate,
    stated,
)
from tests.worked_examples.checks import marked, with_check
from tests.worked_examples.test_gum_together import thermometer
from tests.worked_examples.test_monte_carlo import gauge_block, limits, loss, mass, normal, total

DRAWS = 100_000


@pytest.fixture(autouse=True)
def hypercube(monkeypatch):
    monkeypatch.setattr(mcerp, "npts", DRAWS)
    # it draws from numpy's one global generator
    state = np.random.get_state()  # noqa: NPY002  the other library knows no generator
    np.random.seed(5)  # noqa: NPY002  the other library knows no generator
    yield
    np.random.set_state(state)  # noqa: NPY002  the other library knows no generator


@pytest.fixture
def stats():
    from scipy import stats

    return stats


def agree(ours, theirs, probability=0.95):
    """Compare mean, standard deviation and symmetric interval within five standard errors."""
    found = simulate(ours, probability=probability, draws=1_000_000, kind="symmetric")
    error = theirs.std / DRAWS**0.5
    assert found.value == pytest.approx(theirs.mean, abs=5 * error)
    assert found.u == pytest.approx(theirs.std, rel=0.02)
    ends = theirs.percentile(((1 - probability) / 2, (1 + probability) / 2))
    assert [found.interval.low, found.interval.high] == pytest.approx(ends, abs=15 * error)


@with_check("s1-9.2.2")
def test_sum_of_four_normals(example):
    count = example["inputs"]["n"]
    ours = total([normal((0.0, 1.0), f"x{n}") for n in range(count)])
    agree(ours, sum(mcerp.N(0.0, 1.0) for _ in range(count)))


@pytest.mark.parametrize("example", [marked("s1-9.2.3"), marked("s1-9.2.4")])
def test_sum_of_four_rectangles(example):
    inputs = example["inputs"]
    halves = [sd * 3**0.5 for sd in inputs.get("sd", ())] or [inputs["half_width"]] * 4
    ours = total([limits(-a, a, f"x{n}") for n, a in enumerate(halves)])
    agree(ours, sum(mcerp.U(-a, a) for a in halves))


@with_check("s1-9.3")
def test_mass_calibration(example):
    inputs = example["inputs"]
    m, d = mcerp.N(*inputs["mRc"]["normal"]), mcerp.N(*inputs["dmRc"]["normal"])
    a, w, r = (mcerp.U(*inputs[name]["rect"]) for name in ("ra", "rW", "rR"))
    agree(mass(inputs), (m + d) * (1 + (a - 1.2) * (1 / w - 1 / r)) - 1e5)


@with_check("s1-9.4-r0")
@pytest.mark.parametrize("x1", [0.0, 0.01, 0.05])
def test_loss_near_zero(example, x1):
    u = example["inputs"]["u"]
    agree(loss(x1), mcerp.N(x1, u) ** 2 + mcerp.N(0.0, u) ** 2)


@with_check("s1-9.4-r09")
@pytest.mark.parametrize("x1", [0.0, 0.01, 0.05])
def test_correlated_loss(example, x1):
    """It knows no correlation: the pair is made of two independent ones."""
    u, r = example["inputs"]["u"], example["inputs"]["r"]
    first, second = mcerp.N(0.0, 1.0), mcerp.N(0.0, 1.0)
    other = r * first + (1 - r**2) ** 0.5 * second
    agree(loss(x1, r=r), (x1 + u * first) ** 2 + (u * other) ** 2)


@with_check("s1-9.5")
def test_gauge_block(example, stats):
    inputs = example["inputs"]
    ls, d, d1, d2 = (
        mcerp.uv(
            stats.t(df=inputs[key]["t"][2], loc=inputs[key]["t"][0], scale=inputs[key]["t"][1])
        )
        for key in ("Ls", "D", "d1", "d2")
    )
    a, mean = mcerp.U(*inputs["alpha_s"]["rect"]), mcerp.N(*inputs["th0"]["normal"])
    low, high = inputs["Delta"]["arcsine"]
    theta = mean + mcerp.uv(stats.arcsine(loc=low, scale=high - low))
    # limits vague by ±d: a rectangle times the drawn half-width
    da, dt = (
        (inputs[key]["ctrap"][1] + mcerp.U(-1, 1) * inputs[key]["ctrap"][2]) * mcerp.U(-1, 1)
        for key in ("da", "dt")
    )
    theirs = (ls * (1 + a * (theta - dt)) + d + d1 + d2) / (1 + (a + da) * theta) - 5e7
    agree(gauge_block(inputs), theirs, probability=0.99)


@with_check("tn1900-e3")
def test_skew_quotient(example):
    names = ("muC", "tM", "tC")
    ours = propagate(
        lambda mu, tm, tc: mu * tm / tc,
        [stated(*example["inputs"][name], key=name, unit="1", source="") for name in names],
        unit="1",
    )
    mu, tm, tc = (mcerp.N(*example["inputs"][name]) for name in names)
    agree(ours, mu * tm / tc)


@with_check("gum-H3")
def test_a_line_whose_parameters_correlate(example, stats):
    """A multivariate t by scipy, for the joint drawing of correlated inputs."""
    intercept, slope, related, at_30 = thermometer(example["inputs"])
    cross = related.coefficient * intercept.u * slope.u
    shape = [[intercept.u**2, cross], [cross, slope.u**2]]
    rng = np.random.Generator(np.random.SFC64(3))
    drawn = stats.multivariate_t([intercept.value, slope.value], shape, df=9).rvs(
        DRAWS, random_state=rng
    )
    theirs = drawn @ [1, 10]
    found = simulate(at_30, draws=1_000_000, kind="symmetric")
    ends = np.quantile(theirs, [0.025, 0.975])
    assert found.u == pytest.approx(np.std(theirs), rel=0.02)
    assert [found.interval.low, found.interval.high] == pytest.approx(ends, abs=0.06 * at_30.u)


@with_check("c106-conformance")
def test_conformity_is_an_integral_of_the_normal_law(example, stats):
    for case in example["inputs"]["cases"]:
        low, high = case.get("TL", -np.inf), case.get("TU", np.inf)
        theirs = stats.norm(case["y"], case["u"]).expect(lambda _: 1.0, lb=low, ub=high)
        found = conformity_probability(case["y"], case["u"], Tolerance(low=low, high=high))
        assert found == pytest.approx(theirs, abs=1e-8)


@pytest.mark.parametrize("example", [marked("c106-z"), marked("c106-speed")])
def test_guard_factors_are_quantiles(example, stats):
    inputs = example["inputs"]
    for probability in inputs.get("pc") or [inputs["prob"]]:
        z = stats.norm.isf(1 - probability)
        assert guard_factor(probability) == pytest.approx(z, rel=1e-9)
        if "limit" in inputs:
            found = rejection_limit(inputs["limit"], inputs["rel_u"], probability=probability)
            # the speed whose relative u leaves just that probability above the limit
            assert stats.norm(found, inputs["rel_u"] * found).sf(inputs["limit"]) == pytest.approx(
                probability, rel=1e-9
            )


@with_check("c106-bearing")
def test_risks_of_a_gamma_process_by_drawn_bearings(example, stats):
    inputs, count = example["inputs"], 2_000_000
    rng = np.random.default_rng(8)
    prior, limit = stats.gamma(4, scale=1 / 4), inputs["TU"]
    true = prior.rvs(count, random_state=rng)
    seen = true + inputs["um"] * rng.standard_normal(count)
    taken = (seen >= 0) & (seen <= limit)
    simple = Tolerance(low=0.0, high=limit)
    support = Tolerance(low=0.0, high=20.0)
    found = global_risk(prior.pdf, inputs["um"], simple, simple, support=support)
    assert found.consumer == pytest.approx(np.mean(taken & (true > limit)), abs=4e-4)
    assert found.producer == pytest.approx(np.mean(~taken & (true <= limit)), abs=6e-4)


@with_check("c106-global-normal")
def test_global_risk_as_a_probability_of_two_normal_values(example, stats):
    """True and measured value are jointly normal: P(true bad, measured good) by their CDF."""
    inputs = example["inputs"]
    y0, u0, um, low, high = (inputs[key] for key in ("y0", "u0", "um", "TL", "TU"))
    joint = stats.multivariate_normal([y0, y0], [[u0**2, u0**2], [u0**2, u0**2 + um**2]])
    both_good = (
        joint.cdf([high, high]) - joint.cdf([low, high])
        - joint.cdf([high, low]) + joint.cdf([low, low])
    )  # fmt: skip
    tolerance, true = Tolerance(low=low, high=high), stats.norm(y0, u0)
    measured = stats.norm(y0, np.hypot(u0, um))
    found = global_risk(
        true.pdf, um, tolerance, tolerance, support=Tolerance(low=y0 - 12 * u0, high=y0 + 12 * u0)
    )
    good = measured.cdf(high) - measured.cdf(low)
    assert found.consumer == pytest.approx(good - both_good, abs=1e-5)
    assert found.producer == pytest.approx(true.cdf(high) - true.cdf(low) - both_good, abs=1e-5)


@pytest.mark.parametrize("x1", [0.0, 0.05])
def test_conformity_of_a_skew_result_is_that_of_its_exact_law(x1, stats):
    """x₁² + x₂² is u² times a noncentral chi-square of two degrees (JCGM 101:2008 9.4)."""
    limit, u = 0.0001 if x1 == 0 else 0.0026, 0.005
    exact = stats.ncx2(2, (x1 / u) ** 2).cdf if x1 else stats.chi2(2).cdf
    found = conformity(loss(x1), Tolerance(high=limit))
    assert found == pytest.approx(exact(limit / u**2), abs=0.002)
