"""A checked value against its limits, with the chance that the verdict is wrong.

Guarded acceptance and guarded rejection by JCGM 106:2012, 8.3: a value passes where the true one
lies within the limits with 95 % probability, fails where it lies outside with 95 %, and is left
undecided in between, for nobody can tell.
"""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal

from annot.uncertainty import MeasurementResult, Tolerance, conformity, estimate

Verdict = Literal["pass", "fail", "undecided", "no limits"]
PROBABILITY = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedValue:
    """One quantity of a check.

    Attributes
    ----------
    quantity : str
        Its name, for instance `scale_deviation`.
    target : str
        The reference object, or the region, that it is about.
    value, u, low, high : float
        Best estimate, standard uncertainty, 95 % interval, in `unit`.
    limit_low, limit_high : float or None
        None on a side without limit.
    conforms : float or None
        Probability that the true value lies within the limits; None without limits.
    readings : tuple of float
        Single readings in `unit` (frames), for charts of groups; empty where there is one only.
    note : str
    """

    quantity: str
    target: str
    value: float
    u: float
    low: float
    high: float
    unit: str
    limit_low: float | None = None
    limit_high: float | None = None
    conforms: float | None = None
    readings: tuple[float, ...] = ()
    note: str = ""

    @property
    def verdict(self) -> Verdict:
        """What the limits say of it."""
        if self.conforms is None:
            return "no limits"
        if self.conforms >= PROBABILITY:
            return "pass"
        return "fail" if self.conforms <= 1 - PROBABILITY else "undecided"

    @property
    def chance_of_wrong_pass(self) -> float | None:
        """Probability that the true value is outside although the value is taken as passing."""
        return None if self.conforms is None else 1 - self.conforms

    @property
    def key(self) -> str:
        """What a chart is kept under."""
        return f"{self.quantity} {self.target}".strip()

    def as_body(self) -> dict[str, object]:
        """Return it in plain values, to be kept."""
        return {**asdict(self), "readings": list(self.readings)}

    def facts(self) -> dict[str, object]:
        """Return it for machines, with what the limits say."""
        return {
            **self.as_body(),
            "verdict": self.verdict,
            "chance_of_wrong_pass": self.chance_of_wrong_pass,
        }


def value_from_body(body: Mapping[str, object]) -> CheckedValue:
    """Return a kept value; TypeError for anything else."""
    content = dict(body)
    readings = content.pop("readings", ())
    if not isinstance(readings, list | tuple):
        raise TypeError("readings are kept as a list")
    return CheckedValue(**content, readings=tuple(map(float, readings)))  # type: ignore[arg-type] # its own fields, as kept


def judged(
    result: MeasurementResult,
    *,
    quantity: str,
    target: str = "",
    limits: Tolerance | None = None,
    readings: tuple[float, ...] = (),
    note: str = "",
) -> CheckedValue:
    """Judge a measured quantity by limits, uncertainty respected (JCGM 106:2012, 7 and 8.3)."""
    found = estimate(result)
    return CheckedValue(
        quantity=quantity,
        target=target,
        value=found.value,
        u=found.u,
        low=found.interval.low,
        high=found.interval.high,
        unit=result.unit,
        limit_low=_finite(limits.low) if limits else None,
        limit_high=_finite(limits.high) if limits else None,
        conforms=conformity(result, limits) if limits else None,
        readings=readings,
        note=note,
    )


def _finite(limit: float) -> float | None:
    return limit if math.isfinite(limit) else None


def overall(values: tuple[CheckedValue, ...]) -> Verdict:
    """Return the verdict of a whole check: the worst one of its values."""
    found = {one.verdict for one in values}
    order: tuple[Verdict, ...] = ("fail", "undecided", "pass")
    return next((one for one in order if one in found), "no limits")
