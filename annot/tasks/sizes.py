"""A measurement table against a size chart: how well each row is supported."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.measurement.cross_section import CrossSection, slope_of
from annot.measurement.estimate import StatedValue
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_views import SeenLength, cross_covariance, views_of
from annot.sizing import (
    BASES,
    CHART_COLUMNS,
    RowMatch,
    SizeBasis,
    SizeChart,
    Tip,
    match_rows,
    read_chart,
    same_region,
    shown_share,
    size_basis,
    tips_of,
)
from annot.tasks.section import JOINT, SEED, sections_of
from annot.vocabulary.protocol import moment_key

__all__ = [
    "BASES",
    "CHART_COLUMNS",
    "SecondReader",
    "SizeAnswer",
    "answers_of",
    "load_chart",
    "shown_share",
    "write_sizes_picture",
]


FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondReader:
    """Whether another reader's widths lie in the same rows.

    Attributes
    ----------
    reader : str
    width : StatedValue
        By the same convention.
    same_rows : float
        Probability that both true widths lie in the same rows, shared errors shared.
    """

    reader: str
    width: StatedValue
    same_rows: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeAnswer:
    """One cross-section against the chart."""

    chart: SizeChart
    basis: SizeBasis
    matches: tuple[RowMatch, ...]
    tips: tuple[Tip, ...]
    others: tuple[SecondReader, ...]

    def facts(self) -> list[dict[str, object]]:
        """Return one entry per row of the chart, then per place outside, for machines."""
        name = self.basis.section.name
        return [
            {
                "study": name.study,
                "quantity": name.quantity,
                "reader": name.reader,
                "modality": name.modality,
                "moment": name.moment or None,
                "basis": self.basis.basis,
                "width_mm": self.basis.width.as_dict(),
                "depth_mm": None if self.basis.depth is None else self.basis.depth.as_dict(),
                "kind": "outside" if one.outside else "row",
                **asdict(one),
                "warnings": [*one.warnings, *self.basis.warnings, *self.basis.section.warnings],
                "tipped_by": [tip.words for tip in self._tips_into(one)],
                "second_readers": [asdict(other) for other in self.others],
            }
            for one in self.matches
        ]

    def _tips_into(self, match: RowMatch) -> list[Tip]:
        return [tip for tip in self.tips if tip.tips and match.label in (tip.rows or (tip.region,))]


def load_chart(path: Path) -> SizeChart:
    """Read a size chart."""
    return read_chart(path)


def answers_of(
    rows: Sequence[MeasuredRow],
    chart: SizeChart,
    *,
    basis: str = "largest",
    quantity: str = "landing_zone_width",
    off_centre_mm: float = 0.0,
    common_zero: bool = False,
) -> list[SizeAnswer]:
    """Match every cross-section of one quantity against a chart.

    Parameters
    ----------
    rows : sequence of MeasuredRow
    chart : SizeChart
    basis : {"largest", "area", "perimeter"}
        Which diameter the chart's owner means by width.
    quantity : str
        Which width.
    off_centre_mm, common_zero
        As for `sections_of`.

    Raises
    ------
    InputError
        If the table holds no such width.
    """
    if basis not in BASES:
        raise InputError(f"The basis is one of {', '.join(BASES)}, not '{basis}'.")
    sections = [
        one
        for one in sections_of(rows, off_centre_mm=off_centre_mm, common_zero=common_zero)
        if one.name.quantity == quantity
    ]
    if not sections:
        raise InputError(f"The table holds no {quantity} in mm, so there is nothing to match.")
    found = [
        size_basis(one, _depths(rows, one), basis=basis, rng=np.random.default_rng(SEED))
        for one in sections
    ]
    return [
        SizeAnswer(
            chart=chart,
            basis=one,
            matches=match_rows(chart, one),
            tips=tips_of(chart, one),
            others=tuple(_others(one, found, chart)),
        )
        for one in found
    ]


def write_sizes_picture(answers: Sequence[SizeAnswer], path: Path) -> None:
    """Write the rows' ranges and the measured widths as a picture, whole or not at all."""
    from annot.exports import PNG, write_whole
    from annot.exports.sizing_figures import sizes_png

    write_whole(
        path,
        sizes_png([(one.basis, one.matches) for one in answers], answers[0].chart),
        replaces=PNG,
    )


def _depths(rows: Sequence[MeasuredRow], section: CrossSection) -> tuple[SeenLength, ...]:
    """Return the depths of the same study, reader and moment, of its own modality if any."""
    name = section.name
    known = [
        row
        for row in rows
        if row.quantity == "depth"
        and row.unit == "mm"
        and (row.study, row.reader, moment_key(row.moment))
        == (name.study, name.reader, name.moment)
    ]
    own = [row for row in known if name.modality in (row.modality, JOINT)]
    return views_of(own or known)


def _others(one: SizeBasis, found: Sequence[SizeBasis], chart: SizeChart) -> list[SecondReader]:
    name = one.section.name
    answers = []
    for other in found:
        theirs = other.section.name
        same = (theirs.study, theirs.modality, theirs.moment) == (
            name.study,
            name.modality,
            name.moment,
        )
        if same and theirs.reader != name.reader:
            both = _drawn_together(one, other)
            answers.append(
                SecondReader(
                    reader=theirs.reader,
                    width=other.width,
                    same_rows=same_region(chart, one.widths_mm, both),
                )
            )
    return answers


def _drawn_together(one: SizeBasis, other: SizeBasis) -> FloatArray:
    """Return the other reader's true widths drawn along with the first's, shared errors shared."""
    correlation = 0.0
    if one.section.fit is not None and other.section.fit is not None:
        near = slope_of(one.section.fit, BASES[one.basis]) @ one.section.fit.gain
        far = slope_of(other.section.fit, BASES[other.basis]) @ other.section.fit.gain
        shared = near @ cross_covariance(one.section.views, other.section.views) @ far
        correlation = float(np.clip(shared / (one.width.u * other.width.u), -1, 1))
    score = (one.widths_mm - np.mean(one.widths_mm)) / one.width.u
    fresh = np.random.default_rng(SEED + 1).standard_normal(score.shape)
    spread = correlation * score + np.sqrt(1 - correlation**2) * fresh
    return np.asarray(other.width.value + other.width.u * spread)
