"""How long a chart runs when its limits were estimated from a baseline, as they are in life.

For given errors of centre and sigma the run length is that of known limits moved and stretched by
them; the mean is taken over the law of those errors (`baseline_spread`). In control it comes out
longer than the textbook's figure and varies widely between archives.
"""

from collections.abc import Callable
from typing import Literal

import numpy as np

from annot.errors import InputError
from annot.quality.baseline_spread import estimated_limits
from annot.quality.run_length import (
    run_length_of_limits,
    run_length_of_sums,
    run_length_of_weighted_means,
)
from annot.quality.run_length_of_rules import run_length_of_rules

ChartKind = Literal["individuals", "rules", "weighted", "sums"]
Given = Callable[[float, float], float]  # (shift, stretch) -> run length
WEIGHT, WEIGHTED_WIDTH = 0.2, 3.0
ALLOWANCE, DECISION = 0.5, 5.0  # in sigma
NEGLIGIBLE = 1e-9  # share of the whole below which a node is not worked out
EVERY = 3  # of the law's nodes that suffice where each costs a linear system


def run_length_from_baseline(shift: float, *, baseline: int, chart: ChartKind) -> float:
    """Return the mean number of values until a chart speaks.

    Parameters
    ----------
    shift : float
        Of the process after the baseline, in sigma; 0 for the mean distance of false alarms.
    baseline : int
        Number of values the limits were set from.
    chart : {"individuals", "rules", "weighted", "sums"}
        Limits alone; limits with run rules; weighted means (0.2, settled limits at 3); cumulative
        sums (allowance 0.5, decision 5).

    Raises
    ------
    InputError
        If there is no such chart, or the baseline is too short to tell.
    """
    if chart not in GIVEN:
        raise InputError(f"There is no chart '{chart}': choose one of {', '.join(GIVEN)}.")
    law = estimated_limits(baseline)
    sigma, weight = law.sigma, law.sigma_weight
    if chart != "individuals":
        sigma, weight = sigma[::EVERY], weight[::EVERY] / weight[::EVERY].sum()
    given, total = GIVEN[chart], 0.0
    for size, its_weight in sorted(zip(sigma, weight, strict=True), key=lambda pair: -pair[1]):
        if its_weight == 0:
            continue
        part = sum(
            chance * given(shift - float(error), float(size))
            for error, chance in zip(law.centre, law.centre_weight, strict=True)
            if chance > NEGLIGIBLE
        )
        total += float(its_weight * part)
    return total


def _limits(shift: float, stretch: float) -> float:
    return run_length_of_limits(shift, width=3.0 * stretch)


def _rules(shift: float, stretch: float) -> float:
    return run_length_of_rules(shift, spread=stretch)


def _weighted(shift: float, stretch: float) -> float:
    return run_length_of_weighted_means(shift, weight=WEIGHT, width=WEIGHTED_WIDTH * stretch)


def _sums(shift: float, stretch: float) -> float:
    return run_length_of_sums(shift, allowance=ALLOWANCE * stretch, decision=DECISION * stretch)


GIVEN: dict[ChartKind, Given] = {
    "individuals": _limits,
    "rules": _rules,
    "weighted": _weighted,
    "sums": _sums,
}


def alarm_probability(shift: float, *, baseline: int, points: int) -> float:
    """Return the probability that limits from a baseline are passed within so many values.

    Unlike the mean run length it is not decided by the few archives with very wide limits.
    """
    law = estimated_limits(baseline)
    quiet = [
        [(1 - 1 / _limits(shift - float(c), float(s))) ** points for c in law.centre]
        for s in law.sigma
    ]
    return 1 - float(law.sigma_weight @ np.array(quiet) @ law.centre_weight)


def spread_of_run_length(*, baseline: int) -> tuple[float, float]:
    """Return run lengths in control, under limits alone, that 10 and 90 % of archives exceed.

    The mean hides how much luck in the baseline decides: these are the quantiles over archives
    of each archive's own mean run length (lower first).
    """
    law = estimated_limits(baseline)
    lengths = np.array(
        [[_limits(float(c), float(s)) for c in law.centre] for s in law.sigma]
    ).ravel()
    weight = np.outer(law.sigma_weight, law.centre_weight).ravel()
    order = np.argsort(lengths)
    share = np.cumsum(weight[order])
    low, high = (float(lengths[order][np.searchsorted(share, one)]) for one in (0.1, 0.9))
    return low, high
