"""What would tip the choice between rows: a view left out, or one error by its own u."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.geometry.chords import distinct_directions
from annot.measurement.cross_section import APART_DEG, CrossSection, fit_views, slope_of
from annot.measurement.cross_section_draws import DIAMETERS, corrected_axes
from annot.sizing.chart import SizeChart
from annot.sizing.match import BETWEEN, SMALLER, region_of, rows_holding
from annot.sizing.size_basis import BASES, SizeBasis

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """One thing that would move the width, and where to.

    Attributes
    ----------
    kind : {"view", "component"}
    what : str
        The view left out, or the error that is moved by its standard uncertainty.
    width_mm : float
        The width after it.
    share : float or None
        The component's part of the width's variance; None for a view.
    region : str
        Where the width then lies.
    rows : tuple of str
        Labels of the chart's rows that hold it; none outside all rows.
    tips : bool
        Whether that is another place than before.
    """

    kind: Literal["view", "component"]
    what: str
    width_mm: float
    region: str
    rows: tuple[str, ...]
    tips: bool
    share: float | None = None

    @property
    def words(self) -> str:
        """Say it as a sentence."""
        cause = (
            f"without the {self.what}"
            if self.kind == "view"
            else f"one standard uncertainty of {self.what}"
        )
        if self.kind == "view":
            return f"{cause} the width is {self.width_mm:.1f} mm, which {self._place}"
        return f"{cause} moves the width to {self.width_mm:.1f} mm, which {self._place}"

    @property
    def _place(self) -> str:
        still = "" if self.tips else "still "
        if len(self.rows) > 1:
            *first, last = self.rows
            return f"{still}lies in {', '.join(first)} and {last}, which overlap there"
        if self.rows:
            return f"{still}lies in {self.rows[0]}"
        lies = {SMALLER: "is below all rows", BETWEEN: "lies between two rows"}
        return f"{still}{lies.get(self.region, 'is above all rows')}"


def tips_of(chart: SizeChart, basis: SizeBasis) -> tuple[Tip, ...]:
    """Return every view and component with where it would move the width, largest first."""
    if basis.section.fit is None:
        return ()
    here = region_of(chart, basis.width.value)
    moves = [*_views(basis.section, basis.basis), *_components(basis)]
    tips = [
        Tip(
            kind=kind,
            what=what,
            width_mm=width,
            region=region_of(chart, width),
            rows=rows_holding(chart, width),
            tips=region_of(chart, width) != here,
            share=share,
        )
        for kind, what, width, share in moves
    ]
    return tuple(sorted(tips, key=lambda one: -abs(one.width_mm - basis.width.value)))


Move = tuple[Literal["view", "component"], str, float, float | None]


def _views(section: CrossSection, basis: str) -> list[Move]:
    moves: list[Move] = []
    for index, view in enumerate(section.views):
        rest = section.views[:index] + section.views[index + 1 :]
        directions = [one.direction_deg for one in rest if one.direction_deg is not None]
        if distinct_directions(directions, apart_deg=APART_DEG) < 3:
            continue
        fit = fit_views(rest)
        if fit is not None:
            width = float(DIAMETERS[BASES[basis]](*corrected_axes(fit)))
            moves.append(("view", view.words, width, None))
    return moves


def _components(basis: SizeBasis) -> list[Move]:
    """Move each independent error by its standard uncertainty, both ways."""
    section = basis.section
    if section.fit is None:
        return []
    slope = slope_of(section.fit, BASES[basis.basis]) @ section.fit.gain
    effects = {
        f"placing in the {one.words}": float(part) * one.own_u
        for one, part in zip(section.views, slope, strict=True)
    }
    for name in sorted({name for one in section.views for name in one.shared}):
        loads = np.array([one.shared.get(name, 0.0) for one in section.views])
        effects[name.replace(":", " ", 1)] = float(slope @ loads)
    total = sum(effect**2 for effect in effects.values())
    return [
        ("component", what, basis.width.value + sign * abs(effect), effect**2 / total)
        for what, effect in effects.items()
        for sign in (-1, 1)
    ]
