"""Root inputs drawn in blocks, correlated ones together, and results evaluated on them."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from annot.uncertainty.correlation import correlation_matrix, factor, groups
from annot.uncertainty.evaluation_tree import EvaluationTree
from annot.uncertainty.quantity import InputQuantity
from annot.uncertainty.shapes import SHAPES, FloatArray, vague_limits

# all inputs and intermediate arrays of a block stay in the processor's cache
BLOCK = 10_000
_SQRT3 = math.sqrt(3)


def blocks_of(tree: EvaluationTree, rng: np.random.Generator) -> Iterator[list[FloatArray]]:
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
        yield _finite(tree.evaluate([buffers[one.key] for one in tree.roots], BLOCK))


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
    shape, parameters = SHAPES[one.distribution], one.parameters
    mean, spread = shape.raw(parameters)
    if math.isfinite(one.dof) and one.distribution == "rectangular":
        # the same half-width, of which u is 1/√3
        mean, spread, parameters = 0.0, 1 / _SQRT3, (vague_limits(one.dof),)
        shape = SHAPES["curvilinear trapezoid"]
    shape.draw(rng, out, parameters)
    if math.isfinite(one.dof) and one.distribution != "rectangular":
        out /= _doubt(one.dof, rng, out.size)
    out *= one.u / spread
    out += one.value - mean * one.u / spread


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
