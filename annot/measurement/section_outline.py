"""Traced outlines as a second source, against the ellipse of the views."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annot.measurement.cross_section import CrossSection, slope_of
from annot.measurement.estimate import StatedValue, normal_estimate
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_consensus import normalised_error
from annot.measurement.section_views import SeenLength, cross_covariance, rescaled, seen_length

STEMS = {"ostium_width": "ostium", "landing_zone_width": "landing_zone"}


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineCheck:
    """One traced outline against the ellipse of one cross-section."""

    section: str
    outline: str
    diameter: str
    traced: StatedValue
    difference: StatedValue
    e_n: float


def outline_diameter(row: MeasuredRow, stem: str) -> tuple[str, SeenLength] | None:
    """Return which diameter a row of a traced outline gives, and the diameter; None for others.

    An area A in mm² gives 2√(A/π), a perimeter P gives P/π; a diameter gives itself.
    """
    seen = seen_length(row)
    kind = row.quantity.removeprefix(f"{stem}_")
    if row.unit == "mm2" and kind == "area":
        value = 2 * math.sqrt(row.value / math.pi)
        return "area_diameter", rescaled(seen, value, value / (2 * row.value))
    if row.unit == "mm" and kind == "perimeter":
        return "perimeter_diameter", rescaled(seen, row.value / math.pi, 1 / math.pi)
    if row.unit == "mm" and kind in {"area_diameter", "perimeter_diameter"}:
        return kind, seen
    return None


def outline_checks(
    sections: Sequence[CrossSection], rows: Sequence[MeasuredRow]
) -> tuple[OutlineCheck, ...]:
    """Compare every cross-section's ellipse with the outlines traced for the same study.

    A table that holds an outline's area and its derived diameter gives one check, not two.
    """
    checks: dict[tuple[object, ...], OutlineCheck] = {}
    for section in sections:
        stem = STEMS.get(section.name.quantity)
        if stem is None or section.fit is None:
            continue
        for row in rows:
            found = outline_diameter(row, stem) if row.study == section.name.study else None
            if found is not None:
                trace = (row.reader, row.modality, row.loop, row.frame, row.caliper_id)
                checks.setdefault(
                    (section.name, found[0], *trace), _check(section, row, stem, found)
                )
    return tuple(checks.values())


def _check(
    section: CrossSection, row: MeasuredRow, stem: str, found: tuple[str, SeenLength]
) -> OutlineCheck:
    name, traced = found
    estimate = section.estimates[name]
    if section.fit is None or estimate is None:
        raise ValueError("A cross-section without an ellipse cannot be compared.")
    slope = slope_of(section.fit, name)
    shared = slope @ section.fit.gain @ cross_covariance(section.views, [traced])
    variance = slope @ section.fit.covariance @ slope + traced.u**2 - 2 * float(shared[0])
    u = float(np.sqrt(max(float(variance), 0.0)))
    difference = normal_estimate(traced.value - estimate.value, u, "mm")
    return OutlineCheck(
        section=section.name.short,
        outline=f"{stem} outline, reader {row.reader}, {row.modality}, frame {row.frame}",
        diameter=name,
        traced=normal_estimate(traced.value, traced.u, "mm"),
        difference=difference,
        e_n=normalised_error(difference),
    )
