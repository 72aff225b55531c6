"""Propagation of distributions by drawing (JCGM 101:2008 clauses 6 and 7)."""

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from annot.uncertainty.coverage import (
    CoverageInterval,
    IntervalKind,
    characters_of_row,
    interval_of_draws,
    refuse_no_probability,
    steps_inside,
)
from annot.uncertainty.evaluation_tree import flatten
from annot.uncertainty.input_draws import BLOCK, blocks_of
from annot.uncertainty.key_order import anonymous
from annot.uncertainty.quantity import Quantity, gather
from annot.uncertainty.rounding import numerical_tolerance
from annot.uncertainty.shapes import FloatArray
from annot.uncertainty.tally import Tally

MOST_DRAWS = 2_000_000
_ROWS_AT_ONCE = 10


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

    The same measurement gives the same interval on every run, on a blinded copy too, and a caliper
    that is moved a little moves its interval a little: neither values nor what identifies a file
    take part in the seed.
    """
    keys = "\n".join(sorted(anonymous(key) for key in gather(quantities)))
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
    blocks = blocks_of(tree, rng or generator_for(quantities))
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
    blocks = (drawn[0] for drawn in blocks_of(flatten([result]), generator))
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
