"""Constants of control charts, from their defining integrals over the normal distribution."""

import math
from functools import cache

MOST_IN_SUBGROUP = 100


def _checked(size: int) -> int:
    if not 2 <= size <= MOST_IN_SUBGROUP:
        raise ValueError(f"a subgroup has 2 to {MOST_IN_SUBGROUP} values, not {size}")
    return size


@cache
def c4(size: int) -> float:
    """Return the mean of a sample standard deviation over σ."""
    n = _checked(size)
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


@cache
def d2(size: int) -> float:
    """Return the mean of a sample's range over σ."""
    from scipy.integrate import quad
    from scipy.special import ndtr

    n = _checked(size)
    return float(quad(lambda x: 1 - ndtr(-x) ** n - ndtr(x) ** n, -10, 10, epsabs=1e-11)[0])


@cache
def d3(size: int) -> float:
    """Return the standard deviation of a sample's range over σ."""
    from scipy.integrate import quad
    from scipy.special import ndtr

    n = _checked(size)

    def beyond(width: float) -> float:
        """Return the probability of a range above `width`."""
        inner = quad(lambda x: math.exp(-x * x / 2) * (ndtr(x + width) - ndtr(x)) ** (n - 1), -9, 9)
        return 1 - n * float(inner[0]) / math.sqrt(2 * math.pi)

    square = 2 * float(quad(lambda width: width * beyond(width), 0, 14, epsabs=1e-9, limit=200)[0])
    return math.sqrt(square - d2(n) ** 2)
