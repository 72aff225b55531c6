"""A grid of known spacing as a reference: both pixel pitches, and what a check of them needs."""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import SOURCE_TO_ISOCENTRE_MM
from annot.calibration.grid_fit import GridFit, fit_grid
from annot.calibration.mean_of_frames import mean_of_frames
from annot.calibration.request import ObjectRequest
from annot.calibration.scale import NoScale
from annot.calibration.seen_size import SeenSize
from annot.calibration.spacing_tilt import SpacingTilt, tilt_notes, tilt_of, untilted_grid
from annot.geometry import PixelPoint
from annot.uncertainty import InputQuantity, MeasurementResult

KEYSTONE_SEEN = 3.0  # standard uncertainties: from here on a grid is said to be tilted
DISTORTION_PX = 0.3  # a node farther off its place than this is worth a word


def grid_in_frames(
    frames: Mapping[int, NDArray[np.generic]], request: ObjectRequest, *, key: str
) -> SeenSize | NoScale:
    """Measure the spacing of a grid down the rows and along them, averaged over the readings.

    Parameters
    ----------
    frames : mapping of frame index to array (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    key : str
        Prefix of the input keys.

    Returns
    -------
    SeenSize with `column_size` and, in `details`, the distortion of the first reading; or NoScale.
    """
    fits = []
    for reading in request.readings:
        fit = fit_grid(frames[reading.frame], reading.points)
        if isinstance(fit, NoScale):
            return fit
        fits.append(fit)
    tilt = tilt_of(request)
    row, column = untilted_grid(
        _mean(fits, request, key=f"{key}:row", way="row"),
        _mean(fits, request, key=f"{key}:column", way="column"),
        tilt.half_range_deg,
        key=key,
    )
    return SeenSize(
        size=row,
        column_size=column,
        sections_used=sum(len(fit.nodes) for fit in fits),
        sections_rejected=sum(len(fit.missing) for fit in fits),
        outline=_lines(fits[0]),
        notes=(*tilt_notes(request, tilt), *_notes(fits[0], request, tilt)),
        details=grid_details(fits[0]),
    )


def grid_details(fit: GridFit) -> dict[str, object]:
    """Return what a check of the picture's geometry needs, in plain values.

    `squareness` is the width of a pixel over its height; `residuals_px` has a row for each node:
    its steps along both directions, its place, and by how much it is off the lattice.
    """
    squareness = fit.pitch_row_px / fit.pitch_column_px
    u_rel = math.hypot(
        fit.u_pitch_row_px / fit.pitch_row_px, fit.u_pitch_column_px / fit.pitch_column_px
    )
    return {
        "make": fit.make,
        "nodes": list(fit.size),
        "missing": [list(one) for one in fit.missing],
        "pitch_row_px": fit.pitch_row_px,
        "pitch_column_px": fit.pitch_column_px,
        "squareness": squareness,
        "u_squareness": squareness * u_rel,
        "rotation_deg": fit.rotation_deg,
        "u_rotation_deg": fit.u_rotation_deg,
        "keystone_per_spacing": list(fit.keystone),
        "u_keystone_per_spacing": list(fit.u_keystone),
        "rms_residual_px": fit.rms_px,
        "largest_residual_px": fit.largest_px,
        "residuals_px": [
            [*one.step, *one.place, one.off_row_px, one.off_column_px] for one in fit.nodes
        ],
    }


def _mean(fits: list[GridFit], request: ObjectRequest, *, key: str, way: str) -> MeasurementResult:
    values = [fit.pitch_row_px if way == "row" else fit.pitch_column_px for fit in fits]
    own = [fit.u_pitch_row_px if way == "row" else fit.u_pitch_column_px for fit in fits]
    seen = [
        InputQuantity(
            key=f"{key}{index}",
            value=value,
            u=u,
            unit="px",
            dof=fit.dof,
            evaluation="A",
            distribution="t",
            component="scale",
            source=(
                f"spacing of a lattice through {len(fit.nodes)} nodes in frame {reading.frame}, "
                + ("down the rows" if way == "row" else "along the rows")
            ),
        )
        for index, (fit, reading, value, u) in enumerate(
            zip(fits, request.readings, values, own, strict=True)
        )
    ]
    return mean_of_frames(seen, key=key)


def _notes(fit: GridFit, request: ObjectRequest, tilt: SpacingTilt) -> tuple[str, ...]:
    """Say what keystone and distortion a person must know of."""
    notes = []
    seen = [
        abs(value) > KEYSTONE_SEEN * u
        for value, u in zip(fit.keystone, fit.u_keystone, strict=True)
    ]
    sine = math.hypot(*fit.keystone) * SOURCE_TO_ISOCENTRE_MM.value / request.size.size_mm
    if any(seen) and math.degrees(math.asin(min(sine, 1.0))) > min(1.0, tilt.half_range_deg):
        notes.append(
            f"the cells change size across the grid as if it were tilted by about "
            f"{math.degrees(math.asin(min(sine, 1.0))):.1f}° at {SOURCE_TO_ISOCENTRE_MM.value:g} "
            "mm from the source: one direction reads short, and pixels look less square than "
            "they are"
        )
    if fit.largest_px > DISTORTION_PX:
        notes.append(
            f"nodes lie up to {fit.largest_px:.1f} px off a square lattice: the scale "
            "is the grid's mean and does not hold everywhere in the picture"
        )
    if fit.missing:
        notes.append(f"{len(fit.missing)} of the grid's nodes were not found")
    return tuple(notes)


def _lines(fit: GridFit) -> tuple[tuple[PixelPoint, ...], ...]:
    """Return the lattice's lines through the nodes that were found."""
    lines = []
    for side in (0, 1):
        for number in range(fit.size[side]):
            on_line = [node for node in fit.nodes if node.step[side] == number]
            path = tuple(node.place for node in sorted(on_line, key=lambda node: node.step))
            if len(path) > 1:
                lines.append(path)
    return tuple(lines)
