"""A picture of measured widths against the ranges of a size chart."""

import io
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np

from annot.exports.section_figures import FAINT, INK, PALETTE
from annot.sizing import RowMatch, SizeBasis, SizeChart, shown_share
from annot.vocabulary import CAUTION

MARGIN_MM = 2.0
ROW_IN = 0.42


def sizes_png(answers: Sequence[tuple[SizeBasis, Sequence[RowMatch]]], chart: SizeChart) -> bytes:
    """Return a PNG: the chart's ranges as bars, each width's distribution above, probabilities.

    Parameters
    ----------
    answers : sequence of (SizeBasis, matches)
    chart : SizeChart
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    height = 2.4 + ROW_IN * len(chart.rows) + 1.0
    figure = Figure(figsize=(11.5, height), facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(2, 1, height_ratios=(2.2, ROW_IN * len(chart.rows) + 0.4))
    top = figure.add_subplot(grid[0])
    bottom = figure.add_subplot(grid[1], sharex=top)
    _widths(top, answers)
    _ranges(bottom, answers, chart)
    figure.supxlabel("\n".join(textwrap.wrap(CAUTION, 150)), color=FAINT, fontsize=8)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()


def _widths(axes: Any, answers: Sequence[tuple[SizeBasis, Sequence[RowMatch]]]) -> None:
    lowest = min(float(np.quantile(one.widths_mm, 0.0005)) for one, _ in answers)
    highest = max(float(np.quantile(one.widths_mm, 0.9995)) for one, _ in answers)
    edges = np.linspace(lowest, highest, 50)
    for index, (basis, _) in enumerate(answers):
        colour = PALETTE[index % len(PALETTE)]
        counts, _ = np.histogram(basis.widths_mm, bins=edges, density=True)
        middles = (edges[1:] + edges[:-1]) / 2
        name = basis.section.name
        label = f"{name.study}, {name.short}: {basis.basis} {basis.width.value:.1f} mm"
        axes.fill_between(middles, counts, color=colour, alpha=0.25)
        axes.plot(middles, counts, color=colour, linewidth=1.6, label=label)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize=8.5)
    axes.set_yticks([])
    axes.set_ylim(bottom=0)
    axes.tick_params(labelbottom=False)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.set_title("How wide it may truly be", loc="left", fontsize=10, color=INK)


def _ranges(
    axes: Any, answers: Sequence[tuple[SizeBasis, Sequence[RowMatch]]], chart: SizeChart
) -> None:
    for place, row in enumerate(chart.rows):
        axes.barh(
            place,
            row.width_to_mm - row.width_from_mm,
            left=row.width_from_mm,
            height=0.6,
            color="#D9D9D9",
            edgecolor=FAINT,
        )
        for index, (_, matches) in enumerate(answers):
            share = next(one.probability for one in matches if one.label == row.label)
            axes.annotate(
                shown_share(share),
                (1.03 + 0.08 * index, place),
                xycoords=axes.get_yaxis_transform(),
                va="center",
                fontsize=9,
                color=PALETTE[index % len(PALETTE)],
                fontweight="bold",
                annotation_clip=False,
            )
    axes.set_yticks(range(len(chart.rows)), [row.label for row in chart.rows], fontsize=9)
    axes.set_ylim(len(chart.rows) - 0.5, -0.5)
    ends = chart.boundaries_mm
    lows = [basis.width.low for basis, _ in answers]
    highs = [basis.width.high for basis, _ in answers]
    axes.set_xlim(min(ends[0], *lows) - MARGIN_MM, max(ends[-1], *highs) + MARGIN_MM)
    axes.grid(axis="x", color="#E8E8E8")
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.set_xlabel("width in mm; grey: the range that each row of the chart is for", fontsize=9)
