"""A scale across a figure: from values to pixels, with ticks at round numbers."""

import math
from dataclasses import dataclass

STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Values from `low` to `high` across `wide_px` pixels, with a margin on either side."""

    low: float
    high: float
    wide_px: float
    margin_px: float = 12.0

    def at(self, value: float) -> float:
        """Return a value's place in pixels, to a tenth; beyond the ends it lies at the end."""
        span = (self.high - self.low) or 1.0
        share = min(max((value - self.low) / span, 0.0), 1.0)
        return round(self.margin_px + share * (self.wide_px - 2 * self.margin_px), 1)

    def ticks(self, *, at_most: int = 5) -> tuple[tuple[float, str], ...]:
        """Return places and texts of round numbers: 1, 2 or 5 times a power of ten apart."""
        span = (self.high - self.low) or 1.0
        power = 10.0 ** math.floor(math.log10(span / at_most))
        step = next(one * power for one in STEPS if span / (one * power) <= at_most)
        places = max(0, -math.floor(math.log10(step) + 1e-9))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return tuple(
            (self.at(count * step), f"{count * step:.{places}f}")
            for count in range(first, last + 1)
        )
