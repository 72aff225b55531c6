"""Cross-sections out of a measurement table: one by one, and side by side."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from annot.errors import InputError
from annot.exports.table_file import read_table
from annot.measurement.cross_section import NAMES, CrossSection, SectionName, cross_section
from annot.measurement.estimate import StatedValue
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_consensus import Combination, Pair, combination_of, pairs_of
from annot.measurement.section_difference import ModalityDifference, modality_difference
from annot.measurement.section_outline import OutlineCheck, outline_checks
from annot.measurement.section_views import ULTRASOUND, SeenLength, off_centre, views_of
from annot.vocabulary.protocol import moment_key

__all__ = [
    "NAMES",
    "CrossSection",
    "SideBySide",
    "StatedValue",
    "load_rows",
    "section_facts",
    "sections_of",
    "side_by_side",
    "write_section_picture",
]

WIDTHS = ("ostium_width", "landing_zone_width")
COMPARED = ("perimeter_diameter", "area_diameter", "largest")
SEED = 20_260_101
JOINT = "US+XA"


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """Cross-sections of one study and quantity against one another."""

    study: str
    quantity: str
    sections: tuple[CrossSection, ...]
    pairs: tuple[Pair, ...]
    combinations: tuple[Combination, ...]
    differences: tuple[ModalityDifference, ...]
    outlines: tuple[OutlineCheck, ...]

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "study": self.study,
            "quantity": self.quantity,
            "sections": [section_facts(one) for one in self.sections],
            "pairs": [asdict(one) for one in self.pairs],
            "combinations": [asdict(one) for one in self.combinations],
            "differences": [{**asdict(one), "words": one.words} for one in self.differences],
            "outlines": [asdict(one) for one in self.outlines],
        }


def load_rows(path: Path) -> list[MeasuredRow]:
    """Read a measurement table."""
    return read_table(path)


def sections_of(
    rows: Sequence[MeasuredRow], *, off_centre_mm: float = 0.0, common_zero: bool = False
) -> list[CrossSection]:
    """Fit every cross-section of a table.

    Parameters
    ----------
    rows : sequence of MeasuredRow
    off_centre_mm : float
        How far an ultrasound plane may miss the cross-section's centre, either way.
    common_zero : bool
        X-ray and ultrasound directions count from one zero in one sense: also fit them jointly.

    Raises
    ------
    InputError
        If the table holds no width in mm.
    """
    widths = [row for row in rows if row.quantity in WIDTHS and row.unit == "mm"]
    if not widths:
        raise InputError(
            f"The table holds no width in mm ({' or '.join(WIDTHS)}), so no cross-section: measure "
            "widths under a scale first."
        )
    if any(row.u <= 0 for row in widths):
        lines = ", ".join(str(row.line) for row in widths if row.u <= 0)
        raise InputError(f"A width without uncertainty cannot be weighed (line {lines}): state u.")
    names = list(dict.fromkeys(_name(row) for row in widths))
    found = []
    for name in names:
        lengths = _lengths([row for row in widths if _name(row) == name], off_centre_mm)
        notes = _left_out(rows, name)
        found.append(cross_section(name, lengths, rng=_rng(), notes=notes))
    return [*found, *(_joint(found) if common_zero else [])]


def side_by_side(
    rows: Sequence[MeasuredRow], sections: Sequence[CrossSection], *, common_zero: bool = False
) -> list[SideBySide]:
    """Compare the cross-sections of each study and quantity, and their traced outlines."""
    keys = dict.fromkeys((one.name.study, one.name.quantity) for one in sections)
    return [
        _compared(
            [one for one in sections if (one.name.study, one.name.quantity) == key],
            rows,
            common_zero=common_zero,
        )
        for key in keys
    ]


def section_facts(section: CrossSection) -> dict[str, object]:
    """Return one cross-section for machines; what cannot be known is None."""
    name = section.name
    ellipse = section.ellipse
    return {
        "study": name.study,
        "quantity": name.quantity,
        "reader": name.reader,
        "modality": name.modality,
        "moment": name.moment or None,
        "views": [_view_facts(one, section) for one in section.everything_seen],
        **{key: _estimate_facts(section.estimates.get(key)) for key in NAMES},
        "largest_over_smallest": None if ellipse is None else ellipse.largest / ellipse.smallest,
        "chi2": section.chi2,
        "dof": section.dof,
        "p": section.p,
        "without_view": [
            {
                "view_deg": one.view.direction_deg,
                "view": one.view.words,
                "largest": one.largest,
                "change": one.change,
                "u_change": one.u_change,
                "p": one.p,
                "unit": "mm",
            }
            for one in section.without_view
        ],
        "warnings": list(section.warnings),
    }


def write_section_picture(compared: Sequence[SideBySide], path: Path) -> None:
    """Write the first study's cross-sections as a picture, whole or not at all."""
    from annot.exports import PNG, write_whole
    from annot.exports.section_figures import section_png

    write_whole(path, section_png([one.sections for one in compared]), replaces=PNG)


def _rng() -> np.random.Generator:
    """Return the same draws for every cross-section: one table, one answer, in any order."""
    return np.random.default_rng(SEED)


def _name(row: MeasuredRow) -> SectionName:
    return SectionName(
        study=row.study,
        quantity=row.quantity,
        reader=row.reader,
        modality=row.modality,
        # however a reader spells it
        moment=moment_key(row.moment),
    )


def _left_out(rows: Sequence[MeasuredRow], name: SectionName) -> list[str]:
    """Say which rows of the same cross-section have no millimetres."""
    count = sum(_name(row) == name and row.unit != "mm" for row in rows)
    what, stand = ("row has", "stands") if count == 1 else ("rows have", "stand")
    return [f"{count} {what} no scale and {stand} outside"] if count else []


def _lengths(rows: Iterable[MeasuredRow], off_centre_mm: float) -> list[SeenLength]:
    return [off_centre(one, off_centre_mm) for one in views_of(rows)]


def _joint(sections: Sequence[CrossSection]) -> list[CrossSection]:
    """Fit both modalities of one study, quantity, reader and moment together."""
    joined = []
    for first in sections:
        for second in sections:
            same = all(
                getattr(first.name, part) == getattr(second.name, part)
                for part in ("study", "quantity", "reader", "moment")
            )
            kinds = (first.name.modality == ULTRASOUND, second.name.modality == ULTRASOUND)
            if not same or kinds != (True, False):
                continue
            name = SectionName(
                study=first.name.study,
                quantity=first.name.quantity,
                reader=first.name.reader,
                modality=JOINT,
                moment=first.name.moment,
            )
            lengths = (*first.everything_seen, *second.everything_seen)
            joined.append(cross_section(name, lengths, rng=_rng()))
    return joined


def _compared(
    sections: Sequence[CrossSection], rows: Sequence[MeasuredRow], *, common_zero: bool
) -> SideBySide:
    apart = [one for one in sections if one.name.modality != JOINT]
    moments = dict.fromkeys(one.name.moment for one in apart)
    found = [
        combination_of([one for one in apart if one.name.moment == moment], name)
        for moment in moments
        for name in COMPARED
    ]
    name = sections[0].name
    return SideBySide(
        study=name.study,
        quantity=name.quantity,
        sections=tuple(sections),
        pairs=tuple(pair for diameter in COMPARED for pair in pairs_of(apart, diameter)),
        combinations=tuple(one for one in found if one is not None),
        differences=tuple(_differences(apart, common_zero=common_zero)),
        outlines=outline_checks(apart, rows),
    )


def _differences(
    sections: Sequence[CrossSection], *, common_zero: bool
) -> Iterable[ModalityDifference]:
    for xray in sections:
        for echo in sections:
            kinds = (xray.name.modality == ULTRASOUND, echo.name.modality == ULTRASOUND)
            same = (xray.name.reader, xray.name.moment) == (echo.name.reader, echo.name.moment)
            if kinds != (False, True) or not same:
                continue
            found = modality_difference(xray, echo, common_zero=common_zero)
            if found is not None:
                yield found


def _view_facts(one: SeenLength, section: CrossSection) -> dict[str, object]:
    row = one.rows[0]
    fitted = None
    if section.fit is not None and one in section.views:
        fitted = float(section.fit.fitted[section.views.index(one)])
    return {
        "view_deg": one.direction_deg,
        "kind": "silhouette" if one.silhouette else "chord",
        "value": one.value,
        "u": one.u,
        "fitted": fitted,
        "unit": "mm",
        "loop": row.loop,
        "frames": [each.frame for each in one.rows],
        "rows": [each.caliper_id for each in one.rows],
    }


def _estimate_facts(estimate: StatedValue | None) -> dict[str, object] | None:
    return None if estimate is None else estimate.as_dict()
