"""A measured size against a chart that its user supplies; never a recommendation."""

from annot.sizing.chart import ChartRow, SizeChart
from annot.sizing.chart_file import CHART_COLUMNS, parse_chart, read_chart
from annot.sizing.match import (
    OUTSIDE,
    RowMatch,
    match_rows,
    region_of,
    same_region,
    shown_share,
)
from annot.sizing.size_basis import BASES, SizeBasis, size_basis
from annot.sizing.tips import Tip, tips_of

__all__ = [
    "BASES",
    "CHART_COLUMNS",
    "OUTSIDE",
    "ChartRow",
    "RowMatch",
    "SizeBasis",
    "SizeChart",
    "Tip",
    "match_rows",
    "parse_chart",
    "read_chart",
    "region_of",
    "same_region",
    "shown_share",
    "size_basis",
    "tips_of",
]
