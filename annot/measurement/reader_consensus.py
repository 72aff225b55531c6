"""One value out of several readers' values of the same thing, with the errors they share.

Readers of one loop share its object's true size, its depth, its tilt, its system's error and, where
they scaled it alike, the scale itself. A mean does not average these away, and a median does not
choose among them. How far readers are apart stands beside the interval and is not mixed in: it
tells how well the thing is defined, not how well each reader measured it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.measurement.estimate import StatedValue, drawn_estimate, normal_estimate
from annot.measurement.section_views import SeenLength, mean_length

FloatArray = NDArray[np.float64]
DRAWS = 200_000
MEDIAN_OF = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Consensus:
    """What readers' values come to.

    Attributes
    ----------
    estimate : StatedValue
        Value, standard uncertainty and 95 % interval.
    shared : mapping
        Signed standard uncertainty by the error that it is shared through.
    spread : float or None
        Standard deviation of the readers' values; None of one reader.
    readers : int
    """

    estimate: StatedValue
    shared: Mapping[str, float]
    spread: float | None
    readers: int


def mean_of_readers(sides: Sequence[SeenLength], *, unit: str) -> Consensus:
    """Return the mean: shared errors and tilt add up in full, each reader's own fall with 1/√n.

    Parameters
    ----------
    sides : sequence of SeenLength
        One of each reader.
    """
    mean = mean_length(sides)
    return Consensus(
        estimate=normal_estimate(mean.value, mean.u, unit),
        shared=mean.shared,
        spread=_spread(sides),
        readers=len(sides),
    )


def median_of_readers(
    sides: Sequence[SeenLength], *, unit: str, rng: np.random.Generator
) -> Consensus:
    """Return the middle value, its uncertainty by propagating distributions (JCGM 101:2008).

    The value is the median of the readers' values, as a protocol that asks for it means. Of fewer
    than three it is the mean.
    """
    if len(sides) < MEDIAN_OF:
        return mean_of_readers(sides, unit=unit)
    drawn = drawn_together(sides, rng)
    names = sorted({name for one in sides for name in one.shared})
    # how often each reader is the middle one weighs what that reader's errors do to the median
    middle = np.argsort(drawn, axis=0)[len(sides) // 2]
    weights = np.bincount(middle, minlength=len(sides)) / DRAWS
    value = float(np.median([one.value for one in sides]))
    return Consensus(
        estimate=drawn_estimate(value, np.median(drawn, axis=0), unit),
        shared={
            name: float(weights @ [one.shared.get(name, 0.0) for one in sides]) for name in names
        },
        spread=_spread(sides),
        readers=len(sides),
    )


def drawn_together(sides: Sequence[SeenLength], rng: np.random.Generator) -> FloatArray:
    """Draw the readers' values with what they share drawn once, shape (readers, DRAWS).

    The readers are of one loop, whose unknown tilt they share too.
    """
    names = sorted({name for one in sides for name in one.shared})
    errors = {name: rng.standard_normal(DRAWS) for name in names}
    tilt = rng.standard_normal(DRAWS)
    return np.array(
        [
            one.value
            + one.tilt_u * tilt
            + math.sqrt(max(one.own_u**2 - one.tilt_u**2, 0.0)) * rng.standard_normal(DRAWS)
            + sum((part * errors[name] for name, part in one.shared.items()), np.zeros(DRAWS))
            for one in sides
        ]
    )


def _spread(sides: Sequence[SeenLength]) -> float | None:
    if len(sides) < 2:
        return None
    values = [one.value for one in sides]
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((one - mean) ** 2 for one in values) / (len(values) - 1))
