"""A trial: one number beside its truth, or the reason why there is none."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from annot.uncertainty import CoverageInterval


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One number of one case, what it should have been, and what its interval says.

    Attributes
    ----------
    case : int
        Number of the case, from 0; trials of one case share its errors.
    arm : str
        Which way the case was made; arms are reported apart.
    labels : mapping of str to str
        What cells are made of: quantity, modality, size, and so on.
    true : float
        The truth, in `unit`.
    value, u, low, high : float or None
        Estimate, standard uncertainty and 95 % interval; None where the instrument refused.
    refusal : str
        The instrument's own sentence; empty where it answered.
    beside : mapping of str to float
        Figures to compare with: a bound, another method's value.
    """

    case: int
    arm: str
    labels: Mapping[str, str]
    unit: str
    true: float
    value: float | None = None
    u: float | None = None
    low: float | None = None
    high: float | None = None
    refusal: str = ""
    beside: Mapping[str, float] = field(default_factory=dict)

    @property
    def error_rel(self) -> float | None:
        """Error over the truth, None where the instrument refused."""
        return None if self.value is None else self.value / self.true - 1.0

    @property
    def holds(self) -> bool | None:
        """Whether the interval holds the truth, None where there is none."""
        if self.low is None or self.high is None:
            return None
        return self.low <= self.true <= self.high

    @property
    def u_rel(self) -> float | None:
        """Stated relative standard uncertainty."""
        return None if self.u is None or self.value is None else self.u / self.value

    def as_json(self) -> dict[str, Any]:
        """Return plain values; every float survives the round trip."""
        return asdict(self)


def trial_from_json(content: Mapping[str, Any]) -> Trial:
    """Read back what `Trial.as_json` gave."""
    return Trial(**content)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What the instrument said: an estimate with its interval."""

    value: float
    u: float
    interval: CoverageInterval


def trial_of(answer: Answered | str, blank: Trial) -> Trial:
    """Return a blank trial filled with an answer, or with the sentence of a refusal."""
    from dataclasses import replace

    if isinstance(answer, str):
        return replace(blank, refusal=answer)
    return replace(
        blank,
        value=answer.value,
        u=answer.u,
        low=answer.interval.low,
        high=answer.interval.high,
    )
