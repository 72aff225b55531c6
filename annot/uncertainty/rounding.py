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


def numerical_tolerance(u: float, *, digits: int = 2) -> float:
    """Return δ, half a unit in the last of `digits` significant digits of `u`.

    JCGM 101:2008 7.9.2: u = c · 10^l with c an integer of that many digits, δ = 10^l / 2.
    """
    if not (math.isfinite(u) and u > 0):
        raise ValueError(f"A numerical tolerance needs a positive finite u, got {u}.")
    exponent = math.floor(math.log10(u)) - (digits - 1)
    # 0.996 to two digits is 1.0: the rounded figure has the coarser last place
    if round(u / 10**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0**exponent
