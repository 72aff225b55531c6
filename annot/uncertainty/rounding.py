"""A value and its uncertainty to the right digits (JCGM 100:2008 7.2.6)."""

import math


def decimals_for(u: float, *, digits: int = 2) -> int:
    """Return how many decimals show `u` with `digits` significant digits, at least 0."""
    if not (math.isfinite(u) and u > 0):
        return 2
    exponent = math.floor(math.log10(u))
    # 0.0996 rounds up to 0.10: the rounded figure decides where its digits stand
    if round(u, digits - 1 - exponent) >= 10 ** (exponent + 1):
        exponent += 1
    return max(0, digits - 1 - exponent)


def value_with_u(value: float, u: float, *, digits: int = 2) -> str:
    """Return for instance '24.35 ± 0.52': both with the decimals that `u` deserves."""
    places = decimals_for(u, digits=digits)
    return f"{value:.{places}f} ± {u:.{places}f}"
