"""A result's tree of models, flattened so that it can be evaluated on arrays of its root inputs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from annot.uncertainty.correlation import Correlation
from annot.uncertainty.key_order import key_order
from annot.uncertainty.quantity import (
    InputQuantity,
    MeasurementResult,
    Model,
    Quantity,
    correlations_of,
    gather,
)
from annot.uncertainty.shapes import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class EvaluationTree:
    """What has to be computed, in order, to get from root inputs to results.

    Attributes
    ----------
    roots : tuple of InputQuantity
        The inputs that are not exact, in alphabetical order of their keys without what identifies
        a file, so that a number drawn for an input depends neither on the order in which a model
        was written nor on the file's identity.
    correlations : tuple of Correlation
    """

    roots: tuple[InputQuantity, ...]
    correlations: tuple[Correlation, ...]
    _constants: tuple[tuple[int, float], ...]
    _steps: tuple[tuple[Model, tuple[int, ...]], ...]
    _outputs: tuple[int, ...]

    def evaluate(self, values: Sequence[FloatArray], size: int) -> list[FloatArray]:
        """Return one array per result from one array per root, all of shape (size,).

        What is not finite comes back as it is; the caller knows what that means.
        """
        slots: list[FloatArray | float] = [*values, *(value for _, value in self._constants)]
        with np.errstate(all="ignore"):
            for model, arguments in self._steps:
                slots.append(model(*[slots[place] for place in arguments]))
        return [_whole(slots[place], size) for place in self._outputs]


def _whole(value: FloatArray | float, size: int) -> FloatArray:
    array: FloatArray = np.asarray(value, dtype=np.float64)
    return array if array.shape == (size,) else np.broadcast_to(array, size)


def flatten(quantities: Sequence[Quantity]) -> EvaluationTree:
    """Return the tree below quantities; what several of them share appears once.

    Raises
    ------
    ValueError
        If a result was read back from a file, without its model, or a key has two meanings.
    """
    inputs = gather(quantities)
    free = tuple(
        inputs[key] for key in sorted(inputs, key=key_order) if inputs[key].distribution != "exact"
    )
    fixed = tuple(one for one in inputs.values() if one.distribution == "exact")
    builder = _Builder({one.key: place for place, one in enumerate((*free, *fixed))})
    outputs = tuple(builder.place_of(quantity) for quantity in quantities)
    return EvaluationTree(
        roots=free,
        correlations=correlations_of(quantities),
        _constants=tuple((builder.inputs[one.key], one.value) for one in fixed),
        _steps=tuple(builder.steps),
        _outputs=outputs,
    )


class _Builder:
    """Numbers the nodes of a tree, each once, arguments before what is computed from them."""

    def __init__(self, inputs: Mapping[str, int]) -> None:
        self.inputs = inputs
        self.steps: list[tuple[Model, tuple[int, ...]]] = []
        self._known: dict[int, int] = {}

    def place_of(self, quantity: Quantity) -> int:
        if isinstance(quantity, InputQuantity):
            return self.inputs[quantity.key]
        known = self._known.get(id(quantity))
        if known is None:
            known = self._known[id(quantity)] = self._add(quantity)
        return known

    def _add(self, result: MeasurementResult) -> int:
        if result.model is None:
            raise ValueError(
                "A result without its model cannot be simulated: it was read back from a file. "
                "Measure the stored caliper again."
            )
        arguments = tuple(self.place_of(argument) for argument in result.arguments)
        self.steps.append((result.model, arguments))
        return len(self.inputs) + len(self.steps) - 1
