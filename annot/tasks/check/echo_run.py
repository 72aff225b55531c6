"""An ultrasound loop of a phantom with targets: distances along and across the beam."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from annot.errors import InputError
from annot.loops import Loop, UltrasoundRegion
from annot.quality.judgement import CheckedValue, judged
from annot.quality.target_search import TargetRow, find_targets, target_row
from annot.tasks.check.reference import Reference
from annot.uncertainty import Tolerance, propagate, rectangular, stated


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoLimits:
    """Half-widths for distances: the larger one of mm and percent.

    From memory, as action levels of ultrasound quality programmes (AAPM Ultrasound Task Group 1,
    1998, Med Phys 25:1385, describes the test): along the beam 1.0 mm or 1.5 %, across it 2.0 mm
    or 2 %.
    """

    along_mm: float = 1.0
    along_percent: float = 1.5
    across_mm: float = 2.0
    across_percent: float = 2.0

    def half_width(self, distance_mm: float, *, down: bool) -> float:
        """Return the limit for a distance."""
        least, percent = (
            (self.along_mm, self.along_percent) if down else (self.across_mm, self.across_percent)
        )
        return max(least, percent / 100 * distance_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoLoop:
    """What one ultrasound loop shows of a phantom; `missing` says what was not found, and why."""

    loop: Loop
    values: tuple[CheckedValue, ...]
    rows: tuple[TargetRow, ...]
    missing: tuple[str, ...] = ()


def look_for_targets(loop: Loop, references: Sequence[Reference], limits: EchoLimits) -> EchoLoop:
    """Find targets in the regions of an ultrasound loop and judge their distances.

    Raises
    ------
    InputError
        If the loop has no region that measures lengths.
    """
    regions = [one for one in loop.header.regions if one.is_2d_length]
    if not regions:
        raise InputError(f"{loop.header.path.name} has no ultrasound region that measures lengths.")
    values: list[CheckedValue] = []
    rows: list[TargetRow] = []
    missing: list[str] = []
    for number, region in enumerate(regions, start=1):
        where = "" if len(regions) == 1 else f" region {number}"
        for reference in references:
            for down in (True, False):
                try:
                    row = _row(loop, region, reference, down=down)
                except InputError as fault:
                    missing.append(f"{reference.name}{where}: {fault.message}")
                else:
                    rows.append(row)
                    values.append(_value(row, reference, limits, down=down, where=where))
    return EchoLoop(loop=loop, values=tuple(values), rows=tuple(rows), missing=tuple(missing))


def _row(loop: Loop, region: UltrasoundRegion, reference: Reference, *, down: bool) -> TargetRow:
    frame = np.asarray(loop.frame(loop.frames // 2), dtype=float)
    grey = frame if frame.ndim == 2 else frame.mean(axis=2)
    box = grey[region.min_y0 : region.max_y1 + 1, region.min_x0 : region.max_x1 + 1]
    places = find_targets(box) + np.array([region.min_y0, region.min_x0])
    return target_row(places, region.mm_per_px, down=down, expected_mm=reference.size_mm)


def _value(
    row: TargetRow, reference: Reference, limits: EchoLimits, *, down: bool, where: str
) -> CheckedValue:
    """Return the error of the distance between the outermost targets."""
    span = row.gaps * reference.size_mm
    seen = stated(
        row.gaps * row.spacing_mm,
        row.gaps * row.u_spacing_mm,
        key="check:targets",
        unit="mm",
        source=f"{len(row.places_px)} targets, centre to centre",
    )
    true = rectangular(
        span,
        row.gaps * reference.tolerance_mm,
        key="check:certificate",
        unit="mm",
        component="object",
        source=f"{row.gaps} gaps of {reference.size_mm:g} ± {reference.tolerance_mm:g} mm",
    )
    half = limits.half_width(span, down=down)
    return judged(
        propagate(lambda one, other: one - other, [seen, true], unit="mm"),
        quantity="distance_along_beam" if down else "distance_across_beam",
        target=f"{reference.name}{where}",
        limits=Tolerance(low=-half, high=half),
        note=f"error over {span:g} mm, {len(row.places_px)} targets",
    )


def region_facts(loop: Loop) -> Iterator[str]:
    """Yield what the header itself says is odd about its regions."""
    yield from (one for one in loop.header.warnings if "region" in one.lower())
