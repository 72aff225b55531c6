"""The unknown tilt of a known length or spacing: it makes them look short, never long."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import MARKER_TILT_DEG, PLATE_TILT_DEG, Allowance
from annot.calibration.request import ObjectRequest
from annot.uncertainty import MeasurementResult, arcsine, propagate
from annot.uncertainty.type_b import cosine_of_unknown_tilt

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacingTilt:
    """Half-range of the unknown tilt, and the default it comes from when nobody stated one."""

    half_range_deg: float
    assumed: Allowance | None


def tilt_of(request: ObjectRequest) -> SpacingTilt:
    """Return the half-range a person states, else the kind's default."""
    if request.placing.tilt_deg is not None:
        return SpacingTilt(half_range_deg=request.placing.tilt_deg, assumed=None)
    default = MARKER_TILT_DEG if request.kind == "markers" else PLATE_TILT_DEG
    return SpacingTilt(half_range_deg=default.value, assumed=default)


def untilted(
    size: MeasurementResult, half_range_deg: float, *, key: str, name: str
) -> MeasurementResult:
    """Return the size that would be seen without tilt: what is tilted looks short."""
    if half_range_deg == 0:
        return size
    cosine = cosine_of_unknown_tilt(
        half_range_deg,
        key=f"{key}:tilt",
        source=f"tilt of the {name} within ±{half_range_deg:g}°",
    )
    return propagate(lambda seen, shrink: seen / shrink, [size, cosine], unit="px")


def untilted_grid(
    row: MeasurementResult, column: MeasurementResult, half_range_deg: float, *, key: str
) -> tuple[MeasurementResult, MeasurementResult]:
    """Return both spacings of a grid that would be seen without tilt.

    A plate tilts about one axis, which lies anyhow in the picture: square to it all of the loss
    1 − cos φ is seen, along it none, and at an angle ψ a part cos² ψ (first order in the loss).
    Of an unknown ψ that part swings as an arcsine distribution from 0 to 1, and what the rows
    lose the columns do not.
    """
    if half_range_deg == 0:
        return row, column
    cosine = cosine_of_unknown_tilt(
        half_range_deg,
        key=f"{key}:tilt",
        source=f"tilt of the grid within ±{half_range_deg:g}°",
    )
    part = arcsine(
        0.5,
        0.5,
        key=f"{key}:tilt-axis",
        unit="1",
        component="tilt",
        source="the part of the tilt's loss down the rows: its axis lies anyhow in the picture",
    )
    return (
        propagate(_without_rows_loss, [row, cosine, part], unit="px"),
        propagate(_without_columns_loss, [column, cosine, part], unit="px"),
    )


def _without_rows_loss(seen: FloatArray, shrink: FloatArray, part: FloatArray) -> FloatArray:
    return seen / (1.0 - (1.0 - shrink) * part)


def _without_columns_loss(seen: FloatArray, shrink: FloatArray, part: FloatArray) -> FloatArray:
    return seen / (1.0 - (1.0 - shrink) * (1.0 - part))


def tilt_notes(request: ObjectRequest, tilt: SpacingTilt) -> tuple[str, ...]:
    """Say which tilt was assumed and what that does to the scale."""
    if tilt.assumed is None:
        return ()
    shift = 1 - math.sin(math.radians(tilt.half_range_deg)) / math.radians(tilt.half_range_deg)
    if request.kind == "grid":  # half of it along either way
        shift *= 0.5
    return (
        f"tilt of the {request.size.name} not stated: within ±{tilt.half_range_deg:g}° assumed, "
        f"which makes the scale {100 * shift:.1f} % smaller ({tilt.assumed.source}); a tilt that "
        "is the same all along cannot be seen in the gaps and only ever makes lengths too long",
    )
