"""Pictures of cross-sections: every view and diameter with its interval, and the ellipse."""

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from annot.exports.figures import FIRST, REFERENCE, SECOND, THIRD
from annot.measurement.cross_section import CrossSection
from annot.measurement.estimate import normal_estimate
from annot.measurement.section_views import SeenLength
from annot.vocabulary import CAUTION

PALETTE = (SECOND, FIRST, THIRD, REFERENCE, "#D55E00", "#0072B2")
INK, FAINT = "#222222", "#888888"
SHOWN = ("largest", "smallest", "mean", "area_diameter", "perimeter_diameter")
LINE_IN, LEAST_IN = 0.27, 4.6
ULTRASOUND_MARK, XRAY_MARK, DIAMETER_MARK = "o", "s", "D"


@dataclass(frozen=True, slots=True, kw_only=True)
class ForestLine:
    """One line of a forest plot: a value with its interval, or a heading without."""

    label: str
    colour: str
    value: float | None = None
    low: float = 0.0
    high: float = 0.0
    marker: str = ULTRASOUND_MARK


def section_png(groups: Sequence[Sequence[CrossSection]]) -> bytes:
    """Return a PNG with one row per study and quantity: a forest plot and the ellipses.

    Parameters
    ----------
    groups : sequence of sequences of CrossSection
        Each inner one holds the cross-sections of one study and quantity.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    lines = [forest_lines(group) for group in groups]
    heights = [max(LEAST_IN, LINE_IN * len(each) + 1.1) for each in lines]
    figure = Figure(figsize=(12.5, sum(heights) + 0.6), facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(
        len(groups), 2, height_ratios=heights, width_ratios=(1.55, 1.0), wspace=0.02
    )
    for index, (group, each) in enumerate(zip(groups, lines, strict=True)):
        name = group[0].name
        title = f"{name.study} · {name.quantity.replace('_', ' ')}"
        _forest(figure.add_subplot(grid[index, 0]), each, title)
        _plan(figure.add_subplot(grid[index, 1]), group)
    figure.supxlabel("\n".join(textwrap.wrap(CAUTION, 170)), color=FAINT, fontsize=8)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110, metadata={"Software": None})
    return stream.getvalue()


def forest_lines(group: Sequence[CrossSection]) -> list[ForestLine]:
    """Return the lines of a forest plot, from top to bottom."""
    lines = []
    for index, section in enumerate(group):
        colour = PALETTE[index % len(PALETTE)]
        lines.append(ForestLine(label=_heading(section), colour=colour))
        for one in section.everything_seen:
            seen = normal_estimate(one.value, one.u, "mm")
            lines.append(
                ForestLine(
                    label=_view_label(section, one),
                    colour=colour,
                    value=seen.value,
                    low=seen.low,
                    high=seen.high,
                    marker=XRAY_MARK if one.silhouette else ULTRASOUND_MARK,
                )
            )
        for name in SHOWN:
            estimate = section.estimates.get(name)
            if estimate is not None:
                lines.append(
                    ForestLine(
                        label=name.replace("_", "-").replace("-diameter", "-derived"),
                        colour=colour,
                        value=estimate.value,
                        low=estimate.low,
                        high=estimate.high,
                        marker=DIAMETER_MARK,
                    )
                )
    return lines


def _view_label(section: CrossSection, one: SeenLength) -> str:
    kind = "shadow" if one.silhouette else "chord"
    frames = sorted({row.frame for row in one.rows if row.frame is not None})
    where = f", frame{'s' if len(frames) > 1 else ''} " if frames else ""
    view = one.words.removeprefix(section.name.modality).strip()
    return f"{kind}, {view}{where}{', '.join(str(frame) for frame in frames)}"


def _heading(section: CrossSection) -> str:
    return section.name.short


def _forest(axes: Any, lines: Sequence[ForestLine], title: str) -> None:
    for place, line in enumerate(lines):
        if line.value is None:
            axes.axhline(place - 0.5, color="#DDDDDD", linewidth=0.8)
            continue
        axes.plot([line.low, line.high], [place, place], color=line.colour, linewidth=2)
        axes.plot(
            line.value,
            place,
            marker=line.marker,
            markersize=6,
            color=line.colour,
            markeredgecolor=INK,
            markeredgewidth=0.6,
            linestyle="none",
        )
        axes.annotate(
            f"{line.value:.1f}  ({line.low:.1f} to {line.high:.1f})",
            (1.02, place),
            xycoords=axes.get_yaxis_transform(),
            va="center",
            fontsize=8.5,
            color=INK,
            annotation_clip=False,
        )
    axes.set_yticks(range(len(lines)), [line.label for line in lines], fontsize=9)
    for tick, line in zip(axes.get_yticklabels(), lines, strict=True):
        tick.set_fontweight("bold" if line.value is None else "normal")
    axes.set_ylim(len(lines) - 0.5, -0.6)
    axes.set_xlabel("mm, with 95 % intervals", fontsize=9)
    axes.grid(axis="x", color="#E8E8E8")
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.set_title(title, loc="left", fontsize=11, fontweight="bold", color=INK)


def _plan(axes: Any, group: Sequence[CrossSection]) -> None:
    """Draw the ellipses in the plane of the cross-section with what each view saw of them."""
    reach = 1.0
    for index, section in enumerate(group):
        colour = PALETTE[index % len(PALETTE)]
        for one in section.views:
            reach = max(reach, one.value / 2)
            sighting(axes, one.direction_deg or 0.0, one.value / 2, one.silhouette, colour)
        ellipse = section.ellipse
        if ellipse is None:
            continue
        reach = max(reach, ellipse.largest / 2)
        turn = np.deg2rad(np.arange(0.0, 361.0, 2.0))
        radius = ellipse.chord(np.rad2deg(turn)) / 2
        axes.plot(radius * np.cos(turn), radius * np.sin(turn), color=colour, linewidth=2)
    axes.set_aspect("equal")
    axes.set_xlim(-1.25 * reach, 1.25 * reach)
    axes.set_ylim(-1.25 * reach, 1.25 * reach)
    for angle in (0, 45, 90, 135):
        turn = np.deg2rad(angle)
        place = (1.17 * reach * np.cos(turn), 1.17 * reach * np.sin(turn))
        axes.annotate(f"{angle}°", place, ha="center", va="center", fontsize=8.5, color=FAINT)
    axes.plot([-reach, -reach + 5], [-1.2 * reach] * 2, color=INK, linewidth=2)
    axes.annotate("5 mm", (-reach + 5.6, -1.2 * reach), va="center", fontsize=8.5, color=INK)
    axes.set_axis_off()
    axes.set_title(
        "lines: chords of ultrasound planes\nbars: edges of X-ray shadows,\n"
        "each modality from its own zero",
        fontsize=8,
        color=FAINT,
    )


def sighting(axes: Any, direction_deg: float, half: float, silhouette: bool, colour: str) -> None:
    """Draw what one view saw: a chord through the middle, or a shadow's two edges."""
    turn = np.deg2rad(direction_deg)
    along = half * np.array([np.cos(turn), np.sin(turn)])
    if not silhouette:
        axes.plot(
            [-along[0], along[0]],
            [-along[1], along[1]],
            color=colour,
            linewidth=1,
            alpha=0.8,
            marker=ULTRASOUND_MARK,
            markersize=4,
        )
        return
    across = 0.28 * half * np.array([-np.sin(turn), np.cos(turn)])
    for side in (along, -along):
        start, end = side - across, side + across
        axes.plot([start[0], end[0]], [start[1], end[1]], color=colour, linewidth=2, alpha=0.8)
