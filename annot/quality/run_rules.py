"""Rules that see more than single points beyond a limit.

The rules are those that the NIST/SEMATECH e-Handbook lists in 6.3.2; each point is judged with
those before it, so a rule speaks as soon as it can.
"""

import numpy as np
from numpy.typing import NDArray

from annot.quality.control_chart import Limits, Signal

FloatArray = NDArray[np.float64]

BEYOND = "beyond a limit"
# how many of how many points lie more than so many sigma away, on one side
WINDOWS = (
    (2, 3, 2.0, "two of three beyond two sigma on one side"),
    (4, 5, 1.0, "four of five beyond one sigma on one side"),
    (8, 8, 0.0, "eight in a row on one side"),
)


def signals_of(points: FloatArray, limits: Limits) -> tuple[Signal, ...]:
    """Return where a rule speaks, in the order of the points."""
    away = (points - limits.centre) / limits.sigma
    found = [
        Signal(point=int(index), rule=BEYOND)
        for index in np.flatnonzero((points < limits.lower) | (points > limits.upper))
    ]
    for needed, window, sigmas, words in WINDOWS:
        for side in (1, -1):
            hit = side * away > sigmas
            seen = np.convolve(hit, np.ones(window))[: len(hit)]
            # the newest point must be one of those that count
            found += [
                Signal(point=int(index), rule=words)
                for index in np.flatnonzero((seen >= needed) & hit)
                if index >= needed - 1
            ]
    return tuple(sorted(found, key=lambda one: (one.point, one.rule)))
