"""Type B: uncertainty from limits, certificates and stated knowledge (JCGM 100:2008 4.3)."""

import math

from annot.uncertainty.quantity import InputQuantity
from annot.uncertainty.shapes import cosine_moments, secant_moments


def exact(
    value: float, *, key: str, unit: str, source: str, component: str = "other"
) -> InputQuantity:
    """Declare a quantity exact, by name and with the reason."""
    return InputQuantity(
        key=key,
        value=value,
        u=0.0,
        unit=unit,
        distribution="exact",
        component=component,
        source=source,
    )


def rectangular(
    value: float,
    half_width: float,
    *,
    key: str,
    unit: str,
    source: str,
    component: str = "other",
) -> InputQuantity:
    """Return a quantity known only to lie within `value` ± `half_width`: u = half_width/√3.

    JCGM 100:2008 4.3.7. A half-width of zero is refused: declare the quantity `exact`.
    """
    return InputQuantity(
        key=key,
        value=value,
        u=half_width / math.sqrt(3),
        unit=unit,
        distribution="rectangular",
        component=component,
        source=source,
    )


def stated(
    value: float, u: float, *, key: str, unit: str, source: str, component: str = "other"
) -> InputQuantity:
    """Return a quantity whose standard uncertainty is stated by a certificate or a person."""
    return InputQuantity(key=key, value=value, u=u, unit=unit, component=component, source=source)


def cosine_of_unknown_tilt(
    half_range_deg: float, *, key: str, source: str, component: str = "tilt"
) -> InputQuantity:
    """Return cos φ for a tilt φ known only to lie within ± `half_range_deg`.

    First order around φ = 0 would give an uncertainty of zero (JCGM 101:2008 9.4 is this
    case), so the exact moments of cos φ for a rectangular φ in (−T, T) are used, and drawing
    draws φ.

    Raises
    ------
    ValueError
        If the half-range is not above 0 and at most 60 degrees.
    """
    tilt = _tilt_rad(half_range_deg, key)
    mean, u = cosine_moments(tilt)
    return InputQuantity(
        key=key,
        value=mean,
        u=u,
        unit="1",
        distribution="cosine of tilt",
        parameters=(tilt,),
        component=component,
        source=source,
    )


def secant_of_unknown_tilt(
    half_range_deg: float, *, key: str, source: str, component: str = "tilt"
) -> InputQuantity:
    """Return 1/cos φ for a tilt φ known only to lie within ± `half_range_deg`.

    By its own exact moments: those of cos φ, inverted to first order, come out small (at 60
    degrees by 4 % in the mean and 18 % in the uncertainty).

    Raises
    ------
    ValueError
        If the half-range is not above 0 and at most 60 degrees.
    """
    tilt = _tilt_rad(half_range_deg, key)
    mean, u = secant_moments(tilt)
    return InputQuantity(
        key=key,
        value=mean,
        u=u,
        unit="1",
        distribution="secant of tilt",
        parameters=(tilt,),
        component=component,
        source=source,
    )


def _tilt_rad(half_range_deg: float, key: str) -> float:
    if not 0 < half_range_deg <= 60:
        raise ValueError(f"{key}: a tilt half-range lies in (0, 60] degrees, got {half_range_deg}.")
    return math.radians(half_range_deg)
