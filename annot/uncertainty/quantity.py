"""The GUM's words as types: input quantities, their budget, and the result that carries them."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Model = Callable[..., FloatArray]
Distribution = Literal["normal", "t", "rectangular", "exact"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputQuantity:
    """A root of the budget: one quantity that other results may share.

    Attributes
    ----------
    key : str
        Identity. Two results that hold an input of the same key share its error fully.
    value, u : float
        Best estimate and standard uncertainty, in `unit`. An exact input is declared by
        `distribution="exact"`; a zero `u` with any other distribution is refused.
    dof : float
        Degrees of freedom of `u`; infinite for a Type B statement taken as certain.
    evaluation : {"A", "B"}
        From repeats (A) or from other knowledge (B), JCGM 100:2008 4.2 and 4.3.
    component : str
        The group under which a table sums its share: scale, object, ends, depth, tilt, other.
    source : str
        Where value and uncertainty come from, for a reader of the budget.
    """

    key: str
    value: float
    u: float
    unit: str
    dof: float = math.inf
    evaluation: Literal["A", "B"] = "B"
    distribution: Distribution = "normal"
    component: str = "other"
    source: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"{self.key}: the value {self.value} is not a finite number.")
        if not math.isfinite(self.u) or self.u < 0:
            raise ValueError(f"{self.key}: the uncertainty {self.u} is not a finite number >= 0.")
        if (self.u == 0) != (self.distribution == "exact"):
            raise ValueError(
                f"{self.key}: an uncertainty of zero and the distribution 'exact' go together; "
                f"got u = {self.u} with '{self.distribution}'."
            )
        if math.isnan(self.dof) or self.dof <= 0:
            raise ValueError(f"{self.key}: degrees of freedom must be positive, got {self.dof}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One root input and how strongly the result follows it (JCGM 100:2008 5.1.3)."""

    input: InputQuantity
    sensitivity: float

    @property
    def contribution(self) -> float:
        """Signed standard uncertainty that this input gives the result, in the result's unit."""
        return self.sensitivity * self.input.u


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementResult:
    """A value with the budget it came from.

    Two results are correlated exactly when their lines share an input key, so covariance is
    computed and never typed in. `model` and `arguments` allow the same tree to be evaluated
    on drawn samples; a result read back from a file has neither.
    """

    value: float
    unit: str
    lines: tuple[BudgetLine, ...]
    model: Model | None = None
    arguments: tuple["Quantity", ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty, root inputs independent of one another."""
        return math.sqrt(sum(line.contribution**2 for line in self.lines))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, Welch–Satterthwaite (JCGM 100:2008 G.4.1)."""
        weights = sum(line.contribution**4 / line.input.dof for line in self.lines)
        return self.u**4 / weights if weights > 0 else math.inf

    def shares(self) -> Mapping[str, float]:
        """Share of the variance by component; the shares of an uncertain result add up to 1."""
        variance = self.u**2
        totals: dict[str, float] = {}
        for line in self.lines:
            part = line.contribution**2 / variance if variance > 0 else 0.0
            totals[line.input.component] = totals.get(line.input.component, 0.0) + part
        return totals


Quantity = InputQuantity | MeasurementResult


def lines_of(quantity: Quantity) -> tuple[BudgetLine, ...]:
    """Return the root inputs of a quantity with their sensitivities."""
    if isinstance(quantity, InputQuantity):
        return (BudgetLine(input=quantity, sensitivity=1.0),)
    return quantity.lines


def covariance(first: Quantity, second: Quantity) -> float:
    """Return the covariance that two quantities have through shared inputs (JCGM 100:2008 F.1.2.3).

    Raises
    ------
    ValueError
        If one key stands for two different inputs.
    """
    others = {line.input.key: line for line in lines_of(second)}
    total = 0.0
    for line in lines_of(first):
        other = others.get(line.input.key)
        if other is None:
            continue
        refuse_two_meanings(line.input, other.input)
        total += line.contribution * other.contribution
    return total


def refuse_two_meanings(first: InputQuantity, second: InputQuantity) -> None:
    """Raise ValueError when one key names two different inputs."""
    if first != second:
        raise ValueError(
            f"The key '{first.key}' names two different inputs: {first.value} ± {first.u} "
            f"{first.unit} and {second.value} ± {second.u} {second.unit}."
        )


def gather(quantities: Sequence[Quantity]) -> dict[str, InputQuantity]:
    """Return every root input below the quantities by key; refuse a key with two meanings."""
    roots: dict[str, InputQuantity] = {}
    for quantity in quantities:
        for line in lines_of(quantity):
            known = roots.setdefault(line.input.key, line.input)
            refuse_two_meanings(known, line.input)
    return roots
