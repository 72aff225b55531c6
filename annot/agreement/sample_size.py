"""How many cases an agreement study needs for limits of a wanted sharpness."""

import math

from annot.agreement.bland_altman import MULTIPLIER
from annot.agreement.estimate import checked_probability
from annot.errors import InputError

MOST_CASES = 1_000_000


def half_width_of_limit(
    cases: int, *, multiplier: float = MULTIPLIER, probability: float = 0.95
) -> float:
    """Return half the width of a limit's exact interval, in standard deviations.

    For the sample that turns out exactly as its population is.
    """
    from scipy.special import nctdtrit

    tail = (1 - checked_probability(probability)) / 2
    shift = multiplier * math.sqrt(cases)
    low, high = (float(nctdtrit(cases - 1, shift, one)) for one in (tail, 1 - tail))
    return (high - low) / (2 * math.sqrt(cases))


def cases_for_limits(
    *, sd: float, half_width: float, multiplier: float = MULTIPLIER, probability: float = 0.95
) -> int:
    """Return the fewest cases for which each limit's interval is at most ± `half_width` wide.

    Parameters
    ----------
    sd : float
        Expected standard deviation of the differences.
    half_width : float
        Wanted, in the unit of `sd`.

    Raises
    ------
    InputError
        If a number is not positive, or more than a million cases would be needed.
    """
    if not (sd > 0 and half_width > 0):
        raise InputError("Standard deviation and wanted half-width must be positive.")
    wanted = half_width / sd

    def enough(cases: int) -> bool:
        width = half_width_of_limit(cases, multiplier=multiplier, probability=probability)
        return width <= wanted

    low, high = 2, 4
    while not enough(high):
        low, high = high, 2 * high
        if high > MOST_CASES:
            raise InputError(f"More than {MOST_CASES} cases would be needed; allow a wider limit.")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high
