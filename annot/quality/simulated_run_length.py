"""Run lengths counted over simulated archives, by the code that charts real ones."""

import numpy as np
from numpy.typing import NDArray

from annot.quality.control_chart import Limits, Signal, individuals_chart, limits_of_individuals
from annot.quality.run_length_from_baseline import (
    ALLOWANCE,
    DECISION,
    WEIGHT,
    WEIGHTED_WIDTH,
    ChartKind,
)
from annot.quality.slow_drift import cumulative_sums_chart, weighted_means_chart

FloatArray = NDArray[np.float64]
FIRST_LOOK = 64  # values charted before more are drawn
LONGEST = 2_000_000


def simulated_run_lengths(
    shift: float, *, baseline: int, chart: ChartKind, archives: int, rng: np.random.Generator
) -> NDArray[np.int64]:
    """Return after how many values each archive's chart speaks.

    Each archive has limits of its own, set once from `baseline` values in control; all later
    values are moved by `shift` sigma.
    """
    return np.array(
        [_until_signal(shift, baseline, chart, rng=rng) for _ in range(archives)], dtype=np.int64
    )


def _until_signal(
    shift: float, baseline: int, chart: ChartKind, *, rng: np.random.Generator
) -> int:
    limits = limits_of_individuals(rng.standard_normal(baseline))
    values = shift + rng.standard_normal(FIRST_LOOK)
    while not (found := first_signals(values, limits, chart)):
        if len(values) >= LONGEST:
            return LONGEST
        values = np.concatenate([values, shift + rng.standard_normal(3 * len(values))])
    return min(one.point for one in found) + 1


def first_signals(values: FloatArray, limits: Limits, chart: ChartKind) -> tuple[Signal, ...]:
    """Return what the named chart says of values, in the settings the theory is for."""
    if chart == "weighted":
        return weighted_means_chart(
            values, limits, weight=WEIGHT, width=WEIGHTED_WIDTH, settled=True
        ).signals
    if chart == "sums":
        upper, lower = cumulative_sums_chart(
            values,
            target=limits.centre,
            allowance=ALLOWANCE * limits.sigma,
            decision=DECISION * limits.sigma,
        )
        return (*upper.signals, *lower.signals)
    return individuals_chart(values, limits, rules=chart == "rules").signals
