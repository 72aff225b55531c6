"""The GUM's words as types: input quantities, their budget, and the result that carries them."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from annot.uncertainty.correlation import Correlation, groups, merge
from annot.uncertainty.shapes import SHAPES, Distribution, FloatArray, Parameters

Model = Callable[..., FloatArray]
# a shape of these knows what a doubtful u does to it (JCGM 101:2008 6.4.9, 6.4.3)
_WITH_DOF = frozenset({"normal", "t", "rectangular"})


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
        Degrees of freedom of `u`; infinite for a Type B statement taken as certain. Finite only
        for normal, t and rectangular.
    evaluation : {"A", "B"}
        From repeats (A) or from other knowledge (B), JCGM 100:2008 4.2 and 4.3.
    component : str
        The group under which a table sums its share: scale, object, system, ends, depth, speed,
        tilt, other.
    source : str
        Where value and uncertainty come from, for a reader of the budget.
    parameters : tuple of float
        What the shape of the distribution needs beyond value and u; the makers in `type_b` set
        them: top over base of a trapezoid, vagueness of limits, side (1 or -1), tilt, samples.
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
    parameters: Parameters = ()

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
        self._refuse_unknown_shape()

    def _refuse_unknown_shape(self) -> None:
        if self.distribution == "exact":
            return
        if self.distribution not in SHAPES:
            raise ValueError(f"{self.key}: there is no distribution '{self.distribution}'.")
        fault = SHAPES[self.distribution].fault(self.parameters)
        if fault:
            raise ValueError(f"{self.key}: the distribution '{self.distribution}' {fault}.")
        if math.isfinite(self.dof) and self.distribution not in _WITH_DOF:
            raise ValueError(
                f"{self.key}: finite degrees of freedom go with normal, t or rectangular, not with "
                f"'{self.distribution}'."
            )


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

    Two results are correlated when their lines share an input key or inputs that are stated to be
    correlated, so covariance is computed and never typed in. `model` and `arguments` allow the
    same tree to be evaluated on drawn samples; a result read back from a file has neither.
    """

    value: float
    unit: str
    lines: tuple[BudgetLine, ...]
    model: Model | None = None
    arguments: tuple["Quantity", ...] = ()
    correlations: tuple[Correlation, ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100:2008 5.1.2 and 5.2.2)."""
        # rounding may leave a total cancellation just below zero
        return math.sqrt(max(covariance(self, self), 0.0))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom, Welch–Satterthwaite (JCGM 100:2008 G.4.1).

        Over independent parts: inputs that are stated to be correlated count as one part with the
        least degrees of freedom among them, which is exact for repeats taken together.
        """
        weights = sum(variance**2 / dof for variance, dof in self._independent_parts())
        return self.u**4 / weights if weights > 0 else math.inf

    def shares(self) -> Mapping[str, float]:
        """Share of the variance by component; the shares of an uncertain result add up to 1.

        Of correlated inputs each gets its own signed part, half of every covariance.
        """
        variance = self.u**2
        totals: dict[str, float] = {}
        for line, part in zip(self.lines, self.variance_parts(), strict=True):
            share = part / variance if variance > 0 else 0.0
            totals[line.input.component] = totals.get(line.input.component, 0.0) + share
        return totals

    def variance_parts(self) -> tuple[float, ...]:
        """Signed part of the variance that each line brings, in the order of the lines."""
        contributions = {line.input.key: line.contribution for line in self.lines}
        parts = {key: own**2 for key, own in contributions.items()}
        for one in self.correlations:
            half = (
                one.coefficient
                * contributions.get(one.first, 0.0)
                * contributions.get(one.second, 0.0)
            )
            if half:
                parts[one.first] += half
                parts[one.second] += half
        return tuple(parts[line.input.key] for line in self.lines)

    def _independent_parts(self) -> list[tuple[float, float]]:
        """Return variance and degrees of freedom of every independent part of the budget."""
        lines = list(zip(self.lines, self.variance_parts(), strict=True))
        together = groups(self.correlations)
        grouped = {key for keys in together for key in keys}
        parts = [(part, line.input.dof) for line, part in lines if line.input.key not in grouped]
        for keys in together:
            inside = [(part, line.input.dof) for line, part in lines if line.input.key in keys]
            if inside:
                variance, dofs = zip(*inside, strict=True)
                parts.append((max(sum(variance), 0.0), min(dofs)))
        return parts


Quantity = InputQuantity | MeasurementResult


def lines_of(quantity: Quantity) -> tuple[BudgetLine, ...]:
    """Return the root inputs of a quantity with their sensitivities."""
    if isinstance(quantity, InputQuantity):
        return (BudgetLine(input=quantity, sensitivity=1.0),)
    return quantity.lines


def correlations_of(quantities: Sequence[Quantity]) -> tuple[Correlation, ...]:
    """Return the correlations stated anywhere below the quantities; refuse contradictions."""
    stated = [one.correlations for one in quantities if isinstance(one, MeasurementResult)]
    return merge(one for some in stated for one in some) if any(stated) else ()


def covariance(first: Quantity, second: Quantity) -> float:
    """Return the covariance of two quantities through their inputs (JCGM 100:2008 F.1.2.3).

    Shared inputs count fully, inputs stated to be correlated by their coefficient.

    Raises
    ------
    ValueError
        If one key stands for two different inputs, or one pair has two coefficients.
    """
    others = {line.input.key: line for line in lines_of(second)}
    total = 0.0
    for line in lines_of(first):
        other = others.get(line.input.key)
        if other is None:
            continue
        refuse_two_meanings(line.input, other.input)
        total += line.contribution * other.contribution
    correlations = correlations_of((first, second))
    if not correlations:
        return total
    own = {line.input.key: line.contribution for line in lines_of(first)}
    theirs = {key: line.contribution for key, line in others.items()}
    for one in correlations:
        crossed = own.get(one.first, 0.0) * theirs.get(one.second, 0.0)
        crossed += own.get(one.second, 0.0) * theirs.get(one.first, 0.0)
        total += one.coefficient * crossed
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
