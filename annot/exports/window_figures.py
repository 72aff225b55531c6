"""Figures drawn to the size of a window's pane, light or dark, nothing in them under 10 points."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from annot.exports.figures import FIRST, SECOND
from annot.exports.section_figures import (
    DIAMETER_MARK,
    PALETTE,
    ULTRASOUND_MARK,
    ForestLine,
    forest_lines,
    sighting,
)
from annot.measurement.cross_section import CrossSection
from annot.uncertainty.budget import Contribution

POINTS, DPI = 10, 96
LEAST_PX = 110
MOST_BARS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """What a figure is drawn on: its size in screen pixels, dark or light."""

    width_px: int
    height_px: int
    dark: bool = True

    @property
    def ground(self) -> str:
        """Colour of the ground."""
        return "#1B1C22" if self.dark else "#FFFFFF"

    @property
    def ink(self) -> str:
        """Colour of words and axes."""
        return "#F0F1F2" if self.dark else "#1B1C22"

    @property
    def faint(self) -> str:
        """Colour of what stands behind: grids, beats."""
        return "#5A5C66" if self.dark else "#B8B8B8"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePoint:
    """One measurement on a time axis; `drawn` tells a person's from a tracked one."""

    time_s: float
    value: float
    low: float
    high: float
    drawn: bool = True


def over_time_png(
    points: Sequence[TimePoint], r_waves_s: Sequence[float], *, title: str, unit: str, paper: Paper
) -> bytes:
    """Return measurements of one loop over time with their intervals, R waves as lines.

    Parameters
    ----------
    points : sequence of TimePoint, at least one
    r_waves_s : sequence of float
        Seconds from the first frame.
    """
    figure, axes = _figure(paper)
    ordered = sorted(points, key=lambda one: one.time_s)
    for index, wave in enumerate(r_waves_s):
        axes.axvline(wave, color=paper.faint, linestyle="--", linewidth=1.2)
        if index == 0:
            axes.annotate(
                " R wave",
                (wave, 1.0),
                xycoords=axes.get_xaxis_transform(),
                va="top",
                color=paper.ink,
                fontsize=POINTS,
            )
    for one in ordered:
        axes.plot([one.time_s] * 2, [one.low, one.high], color=SECOND, linewidth=1.6)
    seconds = [one.time_s for one in ordered]
    if len(ordered) > 1:
        axes.plot(seconds, [one.value for one in ordered], color=SECOND, linewidth=1, alpha=0.7)
    for drawn, mark, colour in ((False, "o", SECOND), (True, "D", FIRST)):
        some = [one for one in ordered if one.drawn is drawn]
        label = "drawn or refined" if drawn else "tracked"
        if some:
            axes.plot(
                [one.time_s for one in some],
                [one.value for one in some],
                mark,
                color=colour,
                markersize=6 if drawn else 4,
                label=label,
            )
    axes.set_xlabel("s from the first frame", fontsize=POINTS, color=paper.ink)
    axes.set_ylabel(unit, fontsize=POINTS, color=paper.ink)
    _dress(axes, paper, title=f"{title}, bars: 95 % intervals")
    _legend(axes, paper)
    return _png(figure, paper)


def budget_png(parts: Sequence[Contribution], *, title: str, unit: str, paper: Paper) -> bytes:
    """Return what each input brings to a measurement's u, the largest first, named beside its bar.

    Parameters
    ----------
    parts : sequence of Contribution
        As `annot.uncertainty.budget` gives them, at least one.
    """
    figure, axes = _figure(paper)
    shown = list(parts[:MOST_BARS])
    rest = sum(one.share for one in parts[MOST_BARS:])
    labels = [f"{one.component}: {_short(one.source)}" for one in shown]
    shares = [100 * one.share for one in shown]
    words = [f"{100 * one.share:.0f} %, u {abs(one.contribution):.2g} {unit}" for one in shown]
    if len(parts) > MOST_BARS:
        labels.append(f"{len(parts) - MOST_BARS} smaller ones")
        shares.append(100 * rest)
        words.append(f"{100 * rest:.0f} %")
    places = np.arange(len(labels))
    axes.barh(places, shares, color=SECOND, height=0.55)
    for place, share, text in zip(places, shares, words, strict=True):
        axes.annotate(
            f" {text}",
            (max(share, 0), place),
            va="center",
            fontsize=POINTS,
            color=paper.ink,
            annotation_clip=False,
        )
    axes.set_yticks(places, labels, fontsize=POINTS)
    axes.set_ylim(len(labels) - 0.5, -0.6)
    axes.set_xlim(min(0.0, *shares), 145)
    axes.set_xticks([0, 25, 50, 75, 100])
    axes.set_xlabel("% of the variance", fontsize=POINTS, color=paper.ink)
    _dress(axes, paper, title=title)
    return _png(figure, paper)


def ellipses_png(group: Sequence[CrossSection], *, title: str, paper: Paper) -> bytes:
    """Return the ellipses of one study and quantity with what each view saw of them.

    Parameters
    ----------
    group : sequence of CrossSection, at least one
    """
    figure, axes = _figure(paper)
    reach = 1.0
    for index, section in enumerate(group):
        colour = PALETTE[index % len(PALETTE)]
        for one in section.views:
            reach = max(reach, one.value / 2)
            sighting(axes, one.direction_deg or 0.0, one.value / 2, one.silhouette, colour)
        reach = max(reach, _ellipse(axes, section, index))
    axes.set_aspect("equal")
    axes.set_xlim(-1.3 * reach, 1.3 * reach)
    axes.set_ylim(-1.3 * reach, 1.3 * reach)
    for angle in (0, 45, 90, 135):
        turn = np.deg2rad(angle)
        place = (1.17 * reach * np.cos(turn), 1.17 * reach * np.sin(turn))
        axes.annotate(
            f"{angle}°", place, ha="center", va="center", fontsize=POINTS, color=paper.ink
        )
    axes.plot([1.5 * reach, 1.5 * reach + 5], [-reach] * 2, color=paper.ink, clip_on=False)
    axes.annotate(
        "5 mm",
        (1.5 * reach + 6, -reach),
        va="center",
        fontsize=POINTS,
        color=paper.ink,
        annotation_clip=False,
    )
    _dress(axes, paper, title=title)
    axes.set_axis_off()
    _legend(axes, paper, anchor=(1.15, 1.0))
    return _png(figure, paper)


def side_by_side_png(groups: Sequence[Sequence[CrossSection]], *, paper: Paper) -> bytes:
    """Return views, diameters and modalities side by side, the quantities one below another.

    Parameters
    ----------
    groups : sequence of sequences of CrossSection
        Each inner one holds those of one study and quantity.
    """
    lines = [forest_lines(group) for group in groups]
    figure, grid = _stacked(paper, [len(each) for each in lines])
    for axes, each, group in zip(grid, lines, groups, strict=True):
        _forest(axes, each, paper)
        _dress(axes, paper, title=group[0].name.quantity.replace("_", " "))
    return _png(figure, paper)


def forest_height_px(groups: Sequence[Sequence[CrossSection]]) -> int:
    """Return the height that `side_by_side_png` needs for its lines to stand apart."""
    return sum(19 * len(forest_lines(group)) + 75 for group in groups)


def _ellipse(axes: Any, section: CrossSection, index: int) -> float:
    """Draw one ellipse and return half its largest diameter, 0 where there is none."""
    colour, style = PALETTE[index % len(PALETTE)], ("-", "--", "-.", ":")[index % 4]
    ellipse = section.ellipse
    if ellipse is None:
        axes.plot([], [], color=colour, linestyle=style, label=f"{_name(section)}: no ellipse")
        return 0.0
    turn = np.deg2rad(np.arange(0.0, 361.0, 2.0))
    radius = ellipse.chord(np.rad2deg(turn)) / 2
    axes.plot(
        radius * np.cos(turn),
        radius * np.sin(turn),
        color=colour,
        linestyle=style,
        linewidth=2,
        label=_name(section),
    )
    return ellipse.largest / 2


def _name(section: CrossSection) -> str:
    name = section.name
    modality = {"US": "echo", "XA": "X-ray"}.get(name.modality, name.modality)
    return f"{modality}, {name.moment}" if name.moment else modality


def _forest(axes: Any, lines: Sequence[ForestLine], paper: Paper) -> None:
    for place, line in enumerate(lines):
        if line.value is None:
            continue
        axes.plot([line.low, line.high], [place, place], color=line.colour, linewidth=2)
        size = 6 if line.marker in (DIAMETER_MARK, ULTRASOUND_MARK) else 5
        axes.plot(line.value, place, marker=line.marker, markersize=size, color=line.colour)
        axes.annotate(
            f"{line.value:.1f} ({line.low:.1f} to {line.high:.1f})",
            (1.02, place),
            xycoords=axes.get_yaxis_transform(),
            va="center",
            fontsize=POINTS,
            color=paper.ink,
            annotation_clip=False,
        )
    axes.set_yticks(range(len(lines)), [line.label for line in lines], fontsize=POINTS)
    for tick, line in zip(axes.get_yticklabels(), lines, strict=True):
        tick.set_fontweight("bold" if line.value is None else "normal")
    axes.set_ylim(len(lines) - 0.5, -0.6)
    axes.set_xlabel("mm, 95 % intervals", fontsize=POINTS, color=paper.ink)


def _figure(paper: Paper) -> tuple[Any, Any]:
    figure, (axes,) = _stacked(paper, [1])
    return figure, axes


def _stacked(paper: Paper, heights: Sequence[float]) -> tuple[Any, list[Any]]:
    """Return a figure of the paper's size with axes one below another."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    size = (max(paper.width_px, LEAST_PX) / DPI, max(paper.height_px, LEAST_PX) / DPI)
    figure = Figure(figsize=size, dpi=DPI, facecolor=paper.ground, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(len(heights), 1, height_ratios=heights)
    return figure, [figure.add_subplot(grid[at, 0]) for at in range(len(heights))]


def _dress(axes: Any, paper: Paper, *, title: str) -> None:
    axes.set_facecolor(paper.ground)
    axes.set_title(title, loc="left", fontsize=POINTS, color=paper.ink)
    axes.tick_params(colors=paper.ink, labelsize=POINTS)
    axes.grid(axis="x", color=paper.faint, alpha=0.35)
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(paper.faint)


def _legend(axes: Any, paper: Paper, *, anchor: tuple[float, float] = (1.01, 1.0)) -> None:
    handles, _ = axes.get_legend_handles_labels()
    if handles:
        axes.legend(
            loc="upper left",
            bbox_to_anchor=anchor,
            frameon=False,
            fontsize=POINTS,
            labelcolor=paper.ink,
        )


def _short(source: str, most: int = 52) -> str:
    return source if len(source) <= most else f"{source[: most - 2].rstrip()} …"


def _png(figure: Any, paper: Paper) -> bytes:
    stream = io.BytesIO()
    figure.savefig(stream, format="png", facecolor=paper.ground, metadata={"Software": None})
    return stream.getvalue()
