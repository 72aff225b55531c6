"""Which reader is overruled too often: the reader disagreement index and its chart.

The index is 100 times the cases in which the adjudicator disagreed with the reader, over all
cases that the reader read (conference abstract e18592, seen as an abstract). The chart is a
p-chart: three standard deviations of a binomial share about the readers' common share.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from annot.agreement.concordance import share
from annot.agreement.estimate import Statistic
from annot.errors import InputError

SIGMAS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaderDisagreement:
    """One reader's index and where it lies on the chart.

    Attributes
    ----------
    index : Statistic
        In percent, exact binomial interval.
    lower, upper : float
        Limits of the chart for this reader's number of cases, percent.
    signal : bool
        Whether the index lies outside them.
    """

    reader: str
    overruled: int
    cases: int
    index: Statistic
    centre: float
    lower: float
    upper: float

    @property
    def signal(self) -> bool:
        """Whether the reader is overruled more or less often than chance explains."""
        return not self.lower <= self.index.value <= self.upper


def disagreement_chart(
    counts: Mapping[str, tuple[int, int]], *, probability: float = 0.95
) -> tuple[ReaderDisagreement, ...]:
    """Return every reader's disagreement index with the limits of a p-chart.

    Parameters
    ----------
    counts : mapping of reader to (cases overruled, cases read)

    Raises
    ------
    InputError
        If there is no reader, a reader read nothing, or the counts contradict each other.
    """
    if not counts:
        raise InputError("There is no reader to chart.")
    for reader, (overruled, cases) in counts.items():
        if not 0 <= overruled <= cases or cases < 1:
            raise InputError(f"{reader}: {overruled} of {cases} cases overruled is no count.")
    centre = sum(over for over, _ in counts.values()) / sum(all_ for _, all_ in counts.values())
    return tuple(
        _charted(reader, overruled, cases, centre=centre, probability=probability)
        for reader, (overruled, cases) in counts.items()
    )


def _charted(
    reader: str, overruled: int, cases: int, *, centre: float, probability: float
) -> ReaderDisagreement:
    spread = SIGMAS * math.sqrt(centre * (1 - centre) / cases)
    return ReaderDisagreement(
        reader=reader,
        overruled=overruled,
        cases=cases,
        index=share(overruled, cases, probability=probability).scaled(100.0),
        centre=100 * centre,
        lower=100 * max(centre - spread, 0.0),
        upper=100 * min(centre + spread, 1.0),
    )
