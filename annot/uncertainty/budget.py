"""The budget of a result in the order of what matters, and what a better input would bring."""

import math
from dataclasses import dataclass

import numpy as np

from annot.uncertainty.quantity import MeasurementResult
from annot.uncertainty.second_order import curvature_parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """What one root input brings: its contribution to u, its signed share, where it comes from."""

    key: str
    component: str
    contribution: float
    share: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Improvement:
    """How far u would fall, to `u_without`, if one component were known perfectly."""

    component: str
    u_without: float
    gain: float


def budget(result: MeasurementResult) -> tuple[Contribution, ...]:
    """Return what each input brings, largest share first; the shares add up to 1.

    Where first order sees no uncertainty at all, the shares are those of the second-order variance,
    ½ tr (HR)², each input with its half of every pair.
    """
    parts = np.asarray(result.variance_parts())
    total = float(np.sum(parts))
    if total == 0 and result.model is not None:
        by_key = curvature_parts(result)
        parts = np.array([by_key.get(line.input.key, 0.0) for line in result.lines])
        total = float(np.sum(parts))
    shares = parts / total if total > 0 else np.zeros(len(result.lines))
    rows = [
        Contribution(
            key=line.input.key,
            component=line.input.component,
            contribution=line.contribution,
            share=float(share),
            source=line.input.source,
        )
        for line, share in zip(result.lines, shares, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: (-abs(row.share), row.key)))


def improvements(result: MeasurementResult) -> tuple[Improvement, ...]:
    """Return the components by what knowing them perfectly would take off u, most first.

    A component that is correlated with another takes their covariance with it.
    """
    found = []
    for component in {line.input.component for line in result.lines}:
        rest = tuple(line for line in result.lines if line.input.component != component)
        keys = {line.input.key for line in rest}
        kept = tuple(one for one in result.correlations if keys.issuperset(one.pair))
        u = MeasurementResult(value=result.value, unit=result.unit, lines=rest, correlations=kept).u
        found.append(Improvement(component=component, u_without=u, gain=result.u - u))
    return tuple(sorted(found, key=lambda one: (-one.gain, one.component)))


def relative_u_of_spread(readings: int) -> float:
    """Return the relative standard uncertainty of a standard deviation from repeats.

    JCGM 100:2008 E.4.3 and Table E.1, normal repeats: √(1 − c₄²)/c₄, c₄ the expected ratio of the
    experimental to the true standard deviation.
    """
    if readings < 2:
        raise ValueError(f"A standard deviation needs two or more repeats, got {readings}.")
    half = readings / 2
    unbiased = math.sqrt(2 / (readings - 1)) * math.exp(math.lgamma(half) - math.lgamma(half - 0.5))
    return math.sqrt(1 - unbiased**2) / unbiased
