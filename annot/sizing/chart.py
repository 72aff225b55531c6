"""A size chart: which widths and depths each of its rows is meant for, in its owner's words."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

# a tenth of a micrometre to a kilometre: beyond it a figure in mm is a slip, and overflows
LEAST_MM, LARGEST_MM = 1e-4, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartRow:
    """One size.

    Attributes
    ----------
    label : str
        Its owner's name for it.
    nominal_mm : float
        Width of the thing itself, unloaded.
    width_from_mm, width_to_mm : float
        Measured widths it is meant for; the first is inside, the second outside.
    least_depth_mm : float
        Depth it needs, 0 where the chart asks for none.
    """

    label: str
    nominal_mm: float
    width_from_mm: float
    width_to_mm: float
    least_depth_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.label.strip():
            raise ValueError("a row has no label")
        if not 0 < self.nominal_mm < np.inf:
            raise ValueError(f"nominal_mm is {self.nominal_mm:g}, but a size is positive")
        if not LEAST_MM <= self.nominal_mm <= LARGEST_MM:
            raise ValueError(f"nominal_mm is {self.nominal_mm:g}, but a size in mm is meant")
        if not 0 <= self.width_from_mm < self.width_to_mm <= LARGEST_MM:
            raise ValueError(
                f"width_from_mm {self.width_from_mm:g} and width_to_mm {self.width_to_mm:g} are no "
                "range"
            )
        if not 0 <= self.least_depth_mm <= LARGEST_MM:
            raise ValueError(
                f"least_depth_mm is {self.least_depth_mm:g}, but a depth in mm is meant, 0 or more"
            )

    def holds_width(self, widths_mm: ArrayLike) -> NDArray[np.bool_]:
        """Tell which widths lie in the row's range."""
        widths = np.asarray(widths_mm, dtype=float)
        return np.asarray((widths >= self.width_from_mm) & (widths < self.width_to_mm), dtype=bool)


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeChart:
    """The rows of a chart, in its own order; they may overlap or leave gaps."""

    name: str
    rows: tuple[ChartRow, ...]

    def __post_init__(self) -> None:
        if not self.rows:
            raise ValueError("a chart has at least one row")
        labels = [row.label for row in self.rows]
        twice = sorted({label for label in labels if labels.count(label) > 1})
        if twice:
            raise ValueError(f"the label {', '.join(twice)} stands more than once")

    @property
    def boundaries_mm(self) -> tuple[float, ...]:
        """Every width at which some row begins or ends."""
        ends = itertools.chain.from_iterable(
            (row.width_from_mm, row.width_to_mm) for row in self.rows
        )
        return tuple(sorted(set(ends)))
