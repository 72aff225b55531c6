"""Whether a reader moves away from the others as time goes by."""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from annot.agreement.bland_altman import straight_line
from annot.agreement.estimate import Statistic, pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A reader's deviation from the reference over time: deviation = start + rate · time.

    Attributes
    ----------
    start, rate : Statistic
        At time zero, and per unit of time.
    residual_sd : float
        About the line.
    """

    start: Statistic
    rate: Statistic
    residual_sd: float

    @property
    def is_seen(self) -> bool:
        """Whether the interval of the rate leaves zero."""
        return self.rate.low > 0 or self.rate.high < 0


def reader_drift(times: ArrayLike, deviations: ArrayLike, *, probability: float = 0.95) -> Drift:
    """Return the drift of one reader by least squares.

    Parameters
    ----------
    times : array_like, shape (n,)
        When each case was read, in any one unit, n ≥ 4.
    deviations : array_like, shape (n,)
        Reading less the reference's (adjudicated value, or the other readers' mean).
    """
    when, apart = pairs(times, deviations, at_least=4)
    start, rate, sd = straight_line(when, apart, probability=probability)
    return Drift(start=start, rate=rate, residual_sd=sd)
