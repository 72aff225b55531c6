"""Rows of marks at a known spacing as a reference: bands on a wire, edges of a plate."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import SOURCE_TO_ISOCENTRE_MM
from annot.calibration.band_fit import fit_bands
from annot.calibration.mean_of_frames import mean_of_frames
from annot.calibration.regular_row import Spacing
from annot.calibration.request import ObjectReading, ObjectRequest
from annot.calibration.scale import NoScale
from annot.calibration.seen_size import SeenSize
from annot.calibration.spacing_tilt import SpacingTilt, tilt_notes, tilt_of, untilted
from annot.calibration.step_fit import fit_steps
from annot.geometry import PixelPoint
from annot.uncertainty import InputQuantity, MeasurementResult, propagate, stated

PixelArray = NDArray[np.generic]
GROWTH_SEEN = 3.0  # standard uncertainties: from here on the gaps are said to change
TICK_PX = 7.0  # half-length of the tick that marks a band in a picture


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenRow:
    """One look at a row of marks, whatever they are."""

    spacing: Spacing
    marks: tuple[PixelPoint, ...]
    missing: int
    set_aside: tuple[PixelPoint, ...]
    path: tuple[PixelPoint, ...]


def row_in_frames(
    frames: Mapping[int, PixelArray], request: ObjectRequest, *, key: str, aspect: float
) -> SeenSize | NoScale:
    """Measure the spacing of bands or edges, averaged over the readings.

    Parameters
    ----------
    frames : mapping of frame index to array (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    key : str
        Prefix of the input keys.
    aspect : float
        Width of a pixel over its height.
    """
    rows = []
    for reading in request.readings:
        row = _row(frames[reading.frame], reading, request, aspect=aspect)
        if isinstance(row, NoScale):
            return row
        rows.append(row)
    what = "bands" if request.kind == "markers" else "edges"
    size = _mean_spacing(rows, request, key=key, what=what)
    tilt = tilt_of(request)
    first = rows[0]
    return SeenSize(
        size=untilted(size, tilt.half_range_deg, key=key, name=request.size.name),
        sections_used=sum(len(row.marks) for row in rows),
        sections_rejected=sum(row.missing + len(row.set_aside) for row in rows),
        outline=(first.path, *_ticks(first)),
        notes=(*tilt_notes(request, tilt), *_growth_notes(first.spacing, request, tilt)),
        details={
            f"{what}_px": [list(mark) for mark in first.marks],
            "missing": first.missing,
            "set_aside_px": [list(mark) for mark in first.set_aside],
            "growth_per_gap": first.spacing.growth,
            "u_growth_per_gap": (
                first.spacing.u_growth if math.isfinite(first.spacing.u_growth) else None
            ),
        },
    )


def _row(
    frame: PixelArray, reading: ObjectReading, request: ObjectRequest, *, aspect: float
) -> SeenRow | NoScale:
    u_gap_rel = request.size.tolerance_mm / math.sqrt(3) / request.size.size_mm
    if request.kind == "step":
        steps = fit_steps(
            frame, reading.points, edges=request.count, u_gap_rel=u_gap_rel, aspect=aspect
        )
        if isinstance(steps, NoScale):
            return steps
        return SeenRow(
            spacing=steps.spacing, marks=steps.middles, missing=0, set_aside=(), path=steps.path
        )
    bands = fit_bands(
        frame, reading.points, bands=request.count, u_gap_rel=u_gap_rel, aspect=aspect
    )
    if isinstance(bands, NoScale):
        return bands
    return SeenRow(
        spacing=bands.spacing,
        marks=bands.centres,
        missing=bands.missing,
        set_aside=bands.set_aside,
        path=bands.path,
    )


def _mean_spacing(
    rows: list[SeenRow], request: ObjectRequest, *, key: str, what: str
) -> MeasurementResult:
    """Return the mean over the readings; the gaps' own errors are the same in every one."""
    seen = [
        InputQuantity(
            key=f"{key}:seen{index}",
            value=row.spacing.spacing_px,
            u=row.spacing.u_marks_px,
            unit="px",
            dof=row.spacing.dof,
            evaluation="A",
            distribution="t",
            component="scale",
            source=f"spacing of {len(row.marks)} {what} on their path, frame {reading.frame}",
        )
        for index, (row, reading) in enumerate(zip(rows, request.readings, strict=True))
    ]
    mean = mean_of_frames(seen, key=f"{key}:seen")
    u_gaps = max(row.spacing.u_gaps_px / row.spacing.spacing_px for row in rows)
    gaps = stated(
        1.0,
        u_gaps,
        key=f"{key}:gaps",
        unit="1",
        component="object",
        source=f"each gap off by up to ±{request.size.tolerance_mm:g} mm on its own",
    )
    return propagate(lambda size, factor: size * factor, [mean, gaps], unit="px")


def _growth_notes(spacing: Spacing, request: ObjectRequest, tilt: SpacingTilt) -> tuple[str, ...]:
    """Say that the gaps change along the path, and which tilt of a straight row would do that.

    On a straight row that rises by φ, x = (a + b·s)/(1 − c·s) with c = sin φ over the distance
    from the source, so each gap is larger than the one before by 2·c·spacing.
    """
    if abs(spacing.growth) <= GROWTH_SEEN * spacing.u_growth:
        return ()
    distance_mm = SOURCE_TO_ISOCENTRE_MM.value
    sine = abs(spacing.growth) * distance_mm / (2 * request.size.size_mm)
    change = f"the gaps change by {100 * spacing.growth:+.1f} % from one to the next"
    if sine >= 1:
        return (
            f"{change}, more than any tilt explains: the row bends in depth, or marks are "
            "miscounted; read it in another view",
        )
    tilted = math.degrees(math.asin(sine))
    held = "within" if tilted <= tilt.half_range_deg else "beyond"
    return (
        f"{change}, as on a straight row tilted by about {tilted:.0f}° at {distance_mm:g} mm from "
        f"the source, {held} the ±{tilt.half_range_deg:g}° of the interval; a row that bends in "
        "depth looks alike: read it in another view or state its tilt",
    )


def _ticks(row: SeenRow) -> tuple[tuple[PixelPoint, ...], ...]:
    """Return a short line across the path at every mark."""
    path, ticks = np.array(row.path), []
    steps = np.diff(path, axis=0)
    middle = 0.5 * (path[1:] + path[:-1])
    for mark in row.marks:
        along = steps[int(np.argmin(np.hypot(*(middle - mark).T)))]
        across = TICK_PX * np.array([-along[1], along[0]]) / np.hypot(*along)
        ends = [np.array(mark) + side * across for side in (-1, 1)]
        ticks.append(tuple(PixelPoint(float(end[0]), float(end[1])) for end in ends))
    return tuple(ticks)
