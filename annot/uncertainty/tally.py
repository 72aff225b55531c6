"""Mean, spread and tails of drawn values, taken block by block, so that no draw has to be kept."""

import math

import numpy as np

from annot.uncertainty.coverage import CoverageInterval, IntervalKind, best_pair, steps_inside
from annot.uncertainty.shapes import FloatArray

# standard deviations of a pilot's rank: so far in, the thresholds practically never cut too much
_MARGIN = 6.0


class Tally:
    """Collects blocks of draws and says what an interval of them needs.

    Only the tails can hold an end of an interval, so of each block what lies between two thresholds
    is dropped. The first block sets the thresholds.
    """

    def __init__(self, probability: float) -> None:
        self.probability = probability
        self.draws = 0
        self.mean = 0.0
        self._squares = 0.0
        self._low, self._high = math.inf, -math.inf
        self._lower: list[FloatArray] = []
        self._upper: list[FloatArray] = []

    @property
    def spread(self) -> float:
        """Standard deviation of all draws."""
        return math.sqrt(self._squares / self.draws)

    def add(self, block: FloatArray) -> None:
        """Count in a block of draws, shape (n,)."""
        if not self.draws:
            self._set_thresholds(block)
        mean, total = float(np.mean(block)), self.draws + block.size
        apart = mean - self.mean
        # two blocks' sums of squares about their common mean
        self._squares += block.size * float(np.var(block, mean=mean))
        self._squares += apart**2 * self.draws * block.size / total
        self.mean += apart * block.size / total
        self.draws = total
        self._lower.append(block[block <= self._low])
        self._upper.append(block[block >= self._high])

    def interval(self, kind: IntervalKind) -> CoverageInterval | None:
        """Return the interval, the same as of all draws in order; None if a tail was cut too far.

        JCGM 101:2008 7.7.
        """
        outside = self.draws - steps_inside(self.draws, self.probability)
        lower, upper = np.concatenate(self._lower), np.concatenate(self._upper)
        if min(lower.size, upper.size) < outside:
            return None
        low, high = best_pair(np.sort(lower)[:outside], np.sort(upper)[-outside:], kind)
        factor = (high - low) / (2 * self.spread) if self.spread > 0 else 0.0
        return CoverageInterval(
            low=low, high=high, probability=self.probability, coverage_factor=factor
        )

    def _set_thresholds(self, block: FloatArray) -> None:
        ordered, outside = np.sort(block), 1 - self.probability
        margin = _MARGIN * math.sqrt(outside * (1 - outside) / block.size) + 2 / block.size
        rank = min(math.ceil((outside + margin) * block.size), block.size - 1)
        self._low, self._high = float(ordered[rank]), float(ordered[-1 - rank])
