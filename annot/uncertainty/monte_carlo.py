"""Propagation of distributions by drawing (JCGM 101:2008 clauses 6 and 7)."""

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from annot.uncertainty.correlation import correlation_matrix, factor, groups
from annot.uncertainty.coverage import (
    CoverageInterval,
    IntervalKind,
    characters_of_row,
    interval_of_draws,
    refuse_no_probability,
    steps_inside,
)
from annot.uncertainty.evaluation_tree import EvaluationTree, flatten
from annot.uncertainty.quantity import InputQuantity, Quantity, gather
from annot.uncertainty.rounding import numerical_tolerance
from annot.uncertainty.shapes import SHAPES, FloatArray, curvilinear
from annot.uncertainty.tally import Tally

# all inputs and intermediate arrays of a block stay in the processor's cache
BLOCK = 10_000
MOST_DRAWS = 2_000_000
_ROWS_AT_ONCE = 10
_SQRT3 = math.sqrt(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """What drawing says about a quantity.

    Attributes
    ----------
    value, u : float
        Mean and standard deviation of the drawn values (JCGM 101:2008 7.6).
    interval : CoverageInterval
        Of the kind asked for.
    draws : int
    stable : bool or None
        Whether value, u, both ends of the symmetric interval and the width of the shortest one no
        longer move within the numerical tolerance of `u` (JCGM 101:2008 7.9). Where the shortest
        interval lies is flat near its best place, so its ends themselves may still move a little.
        None when the number of draws was fixed.
    """

    value: float
    u: float
    interval: CoverageInterval
    kind: IntervalKind
    draws: int
    stable: bool | None


def generator_for(quantities: Sequence[Quantity]) -> np.random.Generator:
    """Return a generator seeded by the keys of all inputs below the quantities.

    The same measurement gives the same interval on every run, and a caliper that is moved a little
    moves its interval a little: values take no part in the seed.
    """
    keys = "\n".join(sorted(gather(quantities)))
    seed = int.from_bytes(hashlib.sha256(keys.encode()).digest()[:16], "big")
    return np.random.Generator(np.random.SFC64(seed))


def sample(result: Quantity, *, draws: int, rng: np.random.Generator | None = None) -> FloatArray:
    """Draw values of one quantity; see `sample_jointly`."""
    values: FloatArray = sample_jointly([result], draws=draws, rng=rng)[0]
    return values


def sample_jointly(
    quantities: Sequence[Quantity], *, draws: int, rng: np.random.Generator | None = None
) -> FloatArray:
    """Draw values of quantities that may share inputs; a shared input is drawn once.

    Parameters
    ----------
    quantities : sequence of InputQuantity or MeasurementResult, length m
    draws : int
    rng : numpy.random.Generator, optional
        Without it `generator_for` the quantities.

    Returns
    -------
    ndarray, shape (m, draws)
        In the unit of each quantity. Beside it, memory holds one block of draws.

    Raises
    ------
    ValueError
        If a model has no finite value somewhere its inputs can be, a result has no model, or
        correlated inputs are neither normal nor t.
    """
    if draws < 1:
        raise ValueError(f"At least one draw is needed, got {draws}.")
    tree = flatten(quantities)
    values = np.empty((len(quantities), draws))
    blocks = _blocks(tree, rng or generator_for(quantities))
    for start in range(0, draws, BLOCK):
        part = values[:, start : start + BLOCK]
        for row, drawn in zip(part, next(blocks), strict=True):
            row[:] = drawn[: row.size]
    return values


def simulate(
    result: Quantity,
    *,
    probability: float = 0.95,
    kind: IntervalKind = "shortest",
    draws: int | None = None,
    rng: np.random.Generator | None = None,
) -> Simulation:
    """Return mean, standard deviation and coverage interval of a quantity by drawing.

    Without `draws`, blocks are added until two digits of the standard uncertainty are stable
    (JCGM 101:2008 7.9.4), or until `MOST_DRAWS`; then `stable` is false.

    Raises
    ------
    ValueError
        As `sample_jointly`; or if an input has two or fewer degrees of freedom, whose distribution
        has no standard deviation.
    """
    refuse_no_probability(probability)
    if draws is not None:
        steps_inside(draws, probability)
    _refuse_no_spread(result)
    generator = rng or generator_for([result])
    before = generator.bit_generator.state
    blocks = (drawn[0] for drawn in _blocks(flatten([result]), generator))
    tally, stable = Tally(probability), None
    if draws is None:
        stable = _until_stable(tally, blocks)
    else:
        _fill(tally, blocks, draws)
    interval = tally.interval(kind)
    if interval is None:
        generator.bit_generator.state = before
        values = sample(result, draws=tally.draws, rng=generator)
        interval = interval_of_draws(values, probability=probability, kind=kind)
    return Simulation(
        value=tally.mean,
        u=tally.spread,
        interval=interval,
        kind=kind,
        draws=tally.draws,
        stable=stable,
    )


def _fill(tally: Tally, blocks: Iterator[FloatArray], draws: int) -> None:
    while tally.draws < draws:
        tally.add(next(blocks)[: draws - tally.draws])


def _until_stable(tally: Tally, blocks: Iterator[FloatArray]) -> bool:
    """Draw until stable; a row holds the 100/(1 − p) draws or more of JCGM 101:2008 7.9.4."""
    blocks_in_row = math.ceil(100 / (1 - tally.probability) / BLOCK)
    rows_at_most = max(MOST_DRAWS // (BLOCK * blocks_in_row), 2 * _ROWS_AT_ONCE)
    characters: list[FloatArray] = []
    for row in range(1, rows_at_most + 1):
        parts = [next(blocks).copy() for _ in range(blocks_in_row)]
        for part in parts:
            tally.add(part)
        characters.append(characters_of_row(np.concatenate(parts), tally.probability))
        if row % _ROWS_AT_ONCE == 0 and _is_stable(np.stack(characters, axis=1)):
            return True
    return False


def _refuse_no_spread(quantity: Quantity) -> None:
    for one in gather([quantity]).values():
        if one.dof <= 2 and one.distribution in {"normal", "t"}:
            raise ValueError(
                f"{one.key}: with {one.dof:g} degrees of freedom its distribution has no standard "
                "deviation to simulate; four or more repeats are needed."
            )


def _is_stable(characters: FloatArray) -> bool:
    """Whether twice the standard deviation of each average is below δ (JCGM 101:2008 7.9.4)."""
    rows = characters.shape[1]
    spread = np.std(characters, axis=1, ddof=1) / math.sqrt(rows)
    u = float(np.mean(characters[1]))
    return bool(u == 0 or np.all(2 * spread < numerical_tolerance(u, digits=2)))


# ---------------------------------------------------------------- drawing the inputs
def _blocks(tree: EvaluationTree, rng: np.random.Generator) -> Iterator[list[FloatArray]]:
    """Draw the inputs block by block and evaluate the tree on each; without end.

    Every block is drawn whole, so that a longer sample begins with the shorter one.
    """
    together = groups(tree.correlations)
    roots = {one.key: one for one in tree.roots}
    joint = [[roots[key] for key in keys if key in roots] for keys in together]
    factors = [
        factor(correlation_matrix([one.key for one in inputs], tree.correlations))
        for inputs in joint
    ]
    grouped = {one.key for inputs in joint for one in inputs}
    for inputs in joint:
        _refuse_unlike(inputs)
    buffers = {key: np.empty(BLOCK) for key in roots}
    while True:
        for inputs, mixing in zip(joint, factors, strict=True):
            _draw_jointly(inputs, mixing, rng, buffers)
        for one in tree.roots:
            if one.key not in grouped:
                _draw(one, rng, buffers[one.key])
        yield _finite(tree.evaluate([buffers[one.key] for one in tree.roots]))


def _finite(drawn: list[FloatArray]) -> list[FloatArray]:
    """Return the draws; raise ValueError if one is not finite."""
    # a sum is quick, and one value that is not finite leaves it not finite
    if not all(math.isfinite(float(np.sum(values))) for values in drawn):
        lost = sum(int(np.sum(~np.isfinite(values))) for values in drawn)
        raise ValueError(
            f"The model has no finite value at {lost} of {BLOCK} drawn inputs: an input is too "
            "uncertain for it."
        )
    return drawn


def _draw(one: InputQuantity, rng: np.random.Generator, out: FloatArray) -> None:
    """Fill `out` with drawn values of one input.

    A normal quantity whose u has finite degrees of freedom is a scaled and shifted t (JCGM 101:2008
    6.4.9); a rectangular one has limits that are themselves vague by 1/√(2ν) of the half-width
    (JCGM 100:2008 G.4.2 read as in JCGM 101:2008 9.5).
    """
    finite = math.isfinite(one.dof)
    if finite and one.distribution == "rectangular":
        curvilinear(rng, out, min(1.0, 1 / math.sqrt(2 * one.dof)))
        out *= _SQRT3
    else:
        SHAPES[one.distribution].draw(rng, out, one.parameters)
        if finite:
            out /= _doubt(one.dof, rng, out.size)
    out *= one.u
    out += one.value


def _doubt(dof: float, rng: np.random.Generator, size: int) -> FloatArray:
    """Return √(χ²_ν / ν): a normal variate divided by it is a t variate."""
    chi2_by_dof = rng.standard_gamma(dof / 2, size)
    chi2_by_dof *= 2 / dof
    return np.sqrt(chi2_by_dof, out=chi2_by_dof)


def _draw_jointly(
    inputs: Sequence[InputQuantity],
    mixing: FloatArray,
    rng: np.random.Generator,
    buffers: dict[str, FloatArray],
) -> None:
    """Draw correlated inputs: normal ones, and t ones that share their doubt if they share ν."""
    deviates = mixing @ rng.standard_normal((len(inputs), BLOCK))
    doubts = {
        dof: _doubt(dof, rng, BLOCK)
        for dof in sorted({one.dof for one in inputs})
        if math.isfinite(dof)
    }
    for one, row in zip(inputs, deviates, strict=True):
        np.divide(row, doubts.get(one.dof, 1.0), out=buffers[one.key])
        buffers[one.key] *= one.u
        buffers[one.key] += one.value


def _refuse_unlike(inputs: Sequence[InputQuantity]) -> None:
    for one in inputs:
        if one.distribution not in {"normal", "t"}:
            raise ValueError(
                f"{one.key}: a correlated input can be drawn if it is normal or t, not "
                f"'{one.distribution}'."
            )
