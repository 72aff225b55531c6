"""Traced outlines as a second source, against the ellipse of the views."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annot.measurement.cross_section import CrossSection, slope_of
from annot.measurement.estimate import Estimate, normal_estimate
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_consensus import EXPANSION
from annot.measurement.section_views import SeenLength, cross_covariance, rescaled, seen_length

OUTLINES = {"ostium_width": "ostium_contour", "landing_zone_width": "landing_zone_contour"}


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineCheck:
    """One traced outline against the ellipse of one cross-section."""

    section: str
    outline: str
    diameter: str
    traced: Estimate
    difference: Estimate
    e_n: float


def outline_diameter(row: MeasuredRow) -> tuple[str, SeenLength] | None:
    """Return which diameter an outline's row gives, and the diameter.

    An area A in mm² gives 2√(A/π); a perimeter P in mm gives P/π; other rows give none.
    """
    seen = seen_length(row)
    if row.unit == "mm2":
        value = 2 * math.sqrt(row.value / math.pi)
        return "area_diameter", rescaled(seen, value, value / (2 * row.value))
    if row.unit == "mm" and row.quantity.endswith("perimeter"):
        return "perimeter_diameter", rescaled(seen, row.value / math.pi, 1 / math.pi)
    return None


def outline_checks(
    sections: Sequence[CrossSection], rows: Sequence[MeasuredRow]
) -> tuple[OutlineCheck, ...]:
    """Compare every cross-section's ellipse with the outlines traced for the same study."""
    checks = []
    for section in sections:
        wanted = OUTLINES.get(section.name.quantity, "")
        for row in rows:
            if row.study != section.name.study or not wanted or not row.quantity.startswith(wanted):
                continue
            found = outline_diameter(row)
            if found is not None and section.fit is not None:
                checks.append(_check(section, row, found))
    return tuple(checks)


def _check(section: CrossSection, row: MeasuredRow, found: tuple[str, SeenLength]) -> OutlineCheck:
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
        outline=f"{row.quantity}, reader {row.reader}, {row.modality}, frame {row.frame}",
        diameter=name,
        traced=normal_estimate(traced.value, traced.u, "mm"),
        difference=difference,
        e_n=difference.value / (EXPANSION * u),
    )
