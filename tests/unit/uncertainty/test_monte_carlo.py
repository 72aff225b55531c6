"""Drawing: shared inputs once, the same on every run, in bounded memory, stable when it says so."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Correlation,
    InputQuantity,
    MeasurementResult,
    exact,
    generator_for,
    interval_of_draws,
    numerical_tolerance,
    propagate,
    rectangular,
    sample,
    sample_jointly,
    simulate,
    stated,
)
from annot.uncertainty import tally as tally_module
from annot.uncertainty.input_draws import BLOCK
from annot.uncertainty.monte_carlo import MOST_DRAWS
from annot.uncertainty.tally import Tally


def make(key, value=5.0, u=0.5, **more):
    return InputQuantity(key=key, value=value, u=u, unit="1", **more)


def quotient():
    return propagate(lambda a, b: a / b, [make("a"), make("b", 8.0)], unit="1")


def test_a_shared_input_is_drawn_once():
    scale = propagate(lambda a: 2 * a, [make("scale")], unit="1")
    results = [propagate(lambda s, x: s * x, [scale, make(key)], unit="1") for key in "xy"]
    ratio = propagate(lambda s, t: s / t, [scale, scale], unit="1")
    drawn = sample_jointly([*results, ratio], draws=50_000)
    assert np.all(drawn[2] == 1.0)
    assert np.corrcoef(drawn[:2])[0, 1] == pytest.approx(0.5, abs=0.02)  # half the variance each


def test_the_same_measurement_always_gives_the_same_interval():
    first, second = simulate(quotient()), simulate(quotient())
    assert first == second
    other = propagate(lambda a, b: a / b, [make("a"), make("c", 8.0)], unit="1")
    assert simulate(other).value != first.value  # other inputs, other draws


def test_the_order_in_which_a_model_is_written_does_not_matter():
    turned = propagate(lambda b, a: a / b, [make("b", 8.0), make("a")], unit="1")
    assert simulate(turned) == simulate(quotient())


def test_a_small_change_of_a_value_is_a_small_change_of_the_interval():
    near = propagate(lambda a, b: a / b, [make("a", 5.001), make("b", 8.0)], unit="1")
    move = (
        simulate(near, draws=20_000).interval.low - simulate(quotient(), draws=20_000).interval.low
    )
    assert move == pytest.approx(0.001 / 8, rel=0.2)


@pytest.mark.parametrize("draws", [1, 7, BLOCK, BLOCK + 1, 3 * BLOCK - 1])
def test_a_longer_sample_begins_with_the_shorter_one(draws):
    longer = sample(quotient(), draws=3 * BLOCK)
    assert np.array_equal(sample(quotient(), draws=draws), longer[:draws])


def test_a_given_generator_is_used():
    rngs = [np.random.Generator(np.random.SFC64(seed)) for seed in (1, 1, 2)]
    one, same, other = (sample(quotient(), draws=100, rng=rng) for rng in rngs)
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)
    assert generator_for([quotient()]).bit_generator.__class__.__name__ == "SFC64"


def test_exact_inputs_are_not_drawn():
    result = propagate(
        lambda a, two: a * two, [make("a"), exact(2.0, key="two", unit="1", source="")], unit="1"
    )
    assert np.std(sample(result, draws=50_000)) == pytest.approx(1.0, rel=0.02)
    certain = propagate(lambda two: two, [exact(2.0, key="two", unit="1", source="")], unit="1")
    assert simulate(certain, draws=1000).interval.low == 2.0


def test_a_model_that_ignores_its_inputs_still_gives_an_array():
    constant = MeasurementResult(
        value=3.0, unit="1", lines=quotient().lines, model=lambda _: 3.0, arguments=(make("a"),)
    )
    with pytest.raises(ValueError, match="names two"):
        propagate(lambda x, y: x + y, [constant, make("a", 6.0)], unit="1")
    assert np.all(sample(constant, draws=10) == 3.0)


# ---------------------------------------------------------------- intervals
@given(st.integers(0, 10_000), st.sampled_from([0.5, 0.9, 0.95, 0.99]), st.integers(200, 30_000))
def test_a_tally_of_blocks_says_the_same_as_all_draws_in_order(seed, probability, size):
    values = np.random.Generator(np.random.SFC64(seed)).gamma(3.0, size=size)
    tally = Tally(probability)
    for start in range(0, size, 5000):
        tally.add(values[start : start + 5000])
    for kind in ("shortest", "symmetric"):
        found = tally.interval(kind)
        if found is not None:
            whole = interval_of_draws(values, probability=probability, kind=kind)
            assert (found.low, found.high) == (whole.low, whole.high)
    assert tally.mean == pytest.approx(np.mean(values), rel=1e-12)
    assert tally.spread == pytest.approx(np.std(values), rel=1e-9)


def test_tails_that_were_cut_too_far_are_drawn_again(monkeypatch):
    whole = simulate(quotient(), draws=50_000)
    monkeypatch.setattr(tally_module, "_MARGIN", -3.0)
    again = simulate(quotient(), draws=50_000)
    assert again.interval.low == whole.interval.low
    assert again.interval.high == whole.interval.high


@given(st.floats(0.3, 3.0), st.sampled_from(["shortest", "symmetric"]))
def test_an_interval_holds_its_share_of_the_draws(shape, kind):
    values = np.random.Generator(np.random.SFC64(5)).gamma(shape, size=20_000)
    found = interval_of_draws(values, kind=kind)
    inside = np.mean((values >= found.low) & (values <= found.high))
    assert inside == pytest.approx(0.95, abs=2 / 20_000)
    other = interval_of_draws(values, kind="symmetric")
    assert found.half_width <= other.half_width


def test_a_one_sided_law_has_its_shortest_interval_at_the_edge():
    values = np.random.Generator(np.random.SFC64(6)).exponential(size=200_000)
    found = interval_of_draws(values)
    assert found.low == pytest.approx(0.0, abs=0.003)
    assert found.high == pytest.approx(-math.log(0.05), abs=0.03)  # exact quantile


def test_of_equally_short_intervals_the_middle_one_is_taken():
    evenly = np.linspace(0.0, 1.0, 10_001)
    found = interval_of_draws(evenly)
    assert (found.low, found.high) == pytest.approx((0.025, 0.975), abs=1e-3)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.5, math.nan])
def test_no_interval_of_an_impossible_probability(probability):
    for ask in (
        lambda: interval_of_draws(np.arange(100.0), probability=probability),
        lambda: simulate(quotient(), probability=probability),
    ):
        with pytest.raises(ValueError, match="between 0 and 1"):
            ask()


def test_too_few_draws_are_refused():
    with pytest.raises(ValueError, match="5 draws are too few"):
        simulate(quotient(), draws=5)
    with pytest.raises(ValueError, match="At least one draw"):
        sample(quotient(), draws=0)


# ---------------------------------------------------------------- stopping
def test_stable_means_that_other_draws_agree_to_two_digits():
    result = quotient()
    found = simulate(result, kind="symmetric")
    assert found.stable
    assert found.draws < MOST_DRAWS
    delta = numerical_tolerance(found.u, digits=2)
    for seed in range(3):
        rng = np.random.Generator(np.random.SFC64(seed))
        other = simulate(result, kind="symmetric", draws=2_000_000, rng=rng)
        for a, b in (
            (found.value, other.value),
            (found.u, other.u),
            (found.interval.low, other.interval.low),
            (found.interval.high, other.interval.high),
        ):
            assert abs(a - b) < 2 * delta


def test_a_heavy_tail_stops_at_the_most_and_says_so():
    wild = make("w", dof=2.1, distribution="t")
    found = simulate(propagate(lambda x: x, [wild], unit="1"))
    assert (found.draws, found.stable) == (MOST_DRAWS, False)


def test_a_high_probability_takes_longer_rows():
    found = simulate(quotient(), probability=0.999)
    assert found.draws >= 100_000
    assert found.interval.probability == 0.999


# ---------------------------------------------------------------- refusals
def test_a_result_read_back_cannot_be_simulated():
    stored = MeasurementResult(value=5.0, unit="1", lines=quotient().lines)
    with pytest.raises(ValueError, match="Measure the stored caliper again"):
        sample(stored, draws=10)


def test_a_model_without_a_value_somewhere_is_refused():
    result = propagate(np.log, [make("a", 1.0, 0.5)], unit="1")
    with pytest.raises(ValueError, match=r"no finite value at .* of 10000 drawn inputs"):
        simulate(result)


@pytest.mark.parametrize("dof", [1.0, 2.0])
def test_two_degrees_of_freedom_have_no_standard_deviation(dof):
    with pytest.raises(ValueError, match=r"a: with . degrees of freedom .* four or more repeats"):
        simulate(propagate(lambda x: x, [make("a", dof=dof)], unit="1"))


def test_correlated_inputs_that_are_not_normal_are_not_drawn():
    inputs = [rectangular(1.0, 0.1, key=key, unit="1", source="") for key in "ab"]
    result = propagate(
        lambda a, b: a + b,
        inputs,
        unit="1",
        correlations=[Correlation(first="a", second="b", coefficient=0.5)],
    )
    with pytest.raises(ValueError, match="can be drawn if it is normal or t, not 'rectangular'"):
        sample(result, draws=10)


@given(st.lists(st.floats(0.5, 20.0), min_size=2, max_size=2), st.floats(0.1, 10.0))
def test_moments_of_a_sum_are_exact(values, u):
    inputs = [stated(value, u, key=f"x{n}", unit="1", source="") for n, value in enumerate(values)]
    found = simulate(propagate(lambda a, b: a + b, inputs, unit="1"), draws=20_000)
    error = u * math.sqrt(2 / 20_000)
    assert found.value == pytest.approx(sum(values), abs=5 * error)
    assert found.u == pytest.approx(u * math.sqrt(2), rel=0.03)
