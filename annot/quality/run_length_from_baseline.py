"""How long a chart runs when its limits were estimated from a baseline, as they are in life.

For given errors of centre and sigma the run length is that of known limits moved and stretched by
them; the mean is taken over the law of those errors (`baseline_spread`). In control it comes out
longer than the textbook's figure and varies widely between archives.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
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
LONGEST = 1e12
EVERY = 3  # of the law's nodes that suffice where each costs a linear system


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLength:
    """How long a chart runs until it speaks, over all the baselines that chance may give.

    Attributes
    ----------
    mean : float
        Over all archives. In control, a few with very wide limits decide it.
    low, median, high : float
        The mean run length of an archive that 10, 50 and 90 % of archives do not exceed.
    """

    mean: float
    low: float
    median: float
    high: float


def run_length_from_baseline(shift: float, *, baseline: int, chart: ChartKind) -> float:
    """Return the mean number of values until a chart speaks; see `run_lengths_from_baseline`."""
    return run_lengths_from_baseline(shift, baseline=baseline, chart=chart).mean


@cache
def run_lengths_from_baseline(shift: float, *, baseline: int, chart: ChartKind) -> RunLength:
    """Return how long a chart runs under limits that were set from a baseline.

    Parameters
    ----------
    shift : float
        Of the process after the baseline, in sigma; 0 for the distance of false alarms.
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
    every = 1 if chart == "individuals" else EVERY
    sigma, weight = law.sigma[::every], law.sigma_weight[::every]
    likely = law.centre_weight > NEGLIGIBLE
    given = GIVEN[chart]
    lengths = np.array(
        [
            [given(shift - float(error), float(size)) for error in law.centre[likely]]
            for size in sigma[weight > 0]
        ]
    )
    # beyond, the linear systems lose their last digit, and nothing that likely lies there
    lengths = np.clip(np.where(lengths > 0, lengths, LONGEST), 1.0, LONGEST)
    chance = np.outer(weight[weight > 0], law.centre_weight[likely])
    chance /= chance.sum()
    order = np.argsort(lengths, axis=None)
    ranked = lengths.ravel()[order]
    own = chance.ravel()[order]
    # a node stands for what lies around it: half of its weight below, half above
    share = np.cumsum(own) - own / 2
    low, median, high = np.exp(np.interp((0.1, 0.5, 0.9), share, np.log(ranked)))
    return RunLength(
        mean=float(np.sum(lengths * chance)),
        low=float(low),
        median=float(median),
        high=float(high),
    )


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
