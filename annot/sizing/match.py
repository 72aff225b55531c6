"""How probable it is that each row of a chart fits what was measured."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.measurement.estimate import StatedValue, drawn_estimate
from annot.sizing.chart import ChartRow, SizeChart
from annot.sizing.size_basis import SizeBasis

FloatArray = NDArray[np.float64]
SMALLER, BETWEEN, LARGER = "smaller than all", "between rows", "larger than all"
OUTSIDE = (SMALLER, BETWEEN, LARGER)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowMatch:
    """One row of the chart, or one of the places outside all rows.

    Attributes
    ----------
    label : str
        The row's, or one of `OUTSIDE`.
    probability : float
        That the true width lies in the row's range and the depth suffices.
    probability_width : float
        That the width does, whatever the depth.
    compression_percent : StatedValue or None
        100·(nominal − width)/nominal; None outside the rows.
    oversize_mm : StatedValue or None
        Nominal − width.
    depth_margin_mm : StatedValue or None
        Depth less what the row needs; None where no depth was measured.
    """

    label: str
    probability: float
    probability_width: float
    compression_percent: StatedValue | None = None
    oversize_mm: StatedValue | None = None
    depth_margin_mm: StatedValue | None = None
    warnings: tuple[str, ...] = ()

    @property
    def outside(self) -> bool:
        """Whether it is no row of the chart."""
        return self.compression_percent is None


def match_rows(chart: SizeChart, basis: SizeBasis) -> tuple[RowMatch, ...]:
    """Match every row, in the chart's order, then the places outside.

    Probabilities of rows that overlap add up to more than 1. Those of widths outside all rows
    count the width alone.
    """
    rows = tuple(_match(row, basis) for row in chart.rows)
    outside = _outside(chart, basis.widths_mm)
    return (
        *rows,
        *(
            RowMatch(label=label, probability=share, probability_width=share)
            for label, share in outside.items()
        ),
    )


def rows_holding(chart: SizeChart, width_mm: float) -> tuple[str, ...]:
    """Return the labels of the rows whose range holds a width, in the chart's order."""
    return tuple(row.label for row in chart.rows if bool(row.holds_width(width_mm)))


def region_of(chart: SizeChart, width_mm: float) -> str:
    """Return the label of the rows that hold a width, or which place outside it is in."""
    labels = rows_holding(chart, width_mm)
    if labels:
        return " and ".join(labels)
    ends = chart.boundaries_mm
    if width_mm < ends[0]:
        return SMALLER
    return LARGER if width_mm >= ends[-1] else BETWEEN


def _match(row: ChartRow, basis: SizeBasis) -> RowMatch:
    holds = row.holds_width(basis.widths_mm)
    deep = _deep_enough(row, basis.depths_mm)
    nominal, value = row.nominal_mm, basis.width.value
    margin = None
    if basis.depth is not None and basis.depths_mm is not None:
        margin = drawn_estimate(
            basis.depth.value - row.least_depth_mm, basis.depths_mm - row.least_depth_mm, "mm"
        )
    return RowMatch(
        label=row.label,
        probability=float(np.mean(holds & deep)),
        probability_width=float(np.mean(holds)),
        compression_percent=drawn_estimate(
            100 * (nominal - value) / nominal, 100 * (nominal - basis.widths_mm) / nominal, "%"
        ),
        oversize_mm=drawn_estimate(nominal - value, nominal - basis.widths_mm, "mm"),
        depth_margin_mm=margin,
        warnings=_warnings(row, basis, margin),
    )


def _deep_enough(row: ChartRow, depths_mm: FloatArray | None) -> NDArray[np.bool_]:
    if depths_mm is None:
        return np.array(True)
    return np.asarray(depths_mm >= row.least_depth_mm, dtype=bool)


def _warnings(row: ChartRow, basis: SizeBasis, margin: StatedValue | None) -> tuple[str, ...]:
    found = []
    if row.least_depth_mm > 0 and margin is None:
        found.append(f"the row needs {row.least_depth_mm:g} mm of depth, and none was measured")
    if margin is not None and margin.low < 0 < margin.high:
        found.append("whether the depth suffices is not certain: its interval holds the limit")
    ends = (row.width_from_mm, row.width_to_mm)
    crossed = [end for end in ends if basis.width.low < end < basis.width.high]
    return (
        *found,
        *(f"the width's interval crosses the row's end at {end:g} mm" for end in crossed),
    )


def _outside(chart: SizeChart, widths_mm: FloatArray) -> dict[str, float]:
    inside = np.zeros(widths_mm.shape, dtype=bool)
    for row in chart.rows:
        inside |= row.holds_width(widths_mm)
    ends = chart.boundaries_mm
    smaller, larger = widths_mm < ends[0], widths_mm >= ends[-1]
    return {
        SMALLER: float(np.mean(smaller)),
        BETWEEN: float(np.mean(~inside & ~smaller & ~larger)),
        LARGER: float(np.mean(larger)),
    }


def same_region(chart: SizeChart, first: FloatArray, second: FloatArray) -> float:
    """Return how often two drawn widths of the same place lie in the same rows."""
    agree = np.ones(first.shape, dtype=bool)
    for row in chart.rows:
        agree &= row.holds_width(first) == row.holds_width(second)
    ends = chart.boundaries_mm
    for one in (ends[0], ends[-1]):
        agree &= (first < one) == (second < one)
    return float(np.mean(agree))


def shown_share(share: float) -> str:
    """Return a probability that never claims certainty."""
    if share < 0.005:
        return "< 1 %"
    return "> 99 %" if share > 0.995 else f"{100 * share:.0f} %"
