"""A caliper and a scale become a measurement: value, budget, interval, warnings."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from annot.calibration import NoScale, PixelScale
from annot.measurement.caliper import Caliper
from annot.measurement.placement import END_PX, PIXEL_HALF_WIDTH
from annot.measurement.tilt import TiltRule, tilt_rule
from annot.uncertainty import (
    CoverageInterval,
    Estimate,
    InputQuantity,
    MeasurementResult,
    Quantity,
    estimate,
    exact,
    expand,
    propagate,
    rectangular,
    stated,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """The evidence and the number together.

    Attributes
    ----------
    caliper : Caliper
    scale : PixelScale or NoScale
        Without a scale the result is in pixels and `warnings` says why.
    result : MeasurementResult
        First-order value and budget, in mm or px.
    raw_value : float
        The length as drawn, before any correction for tilt, in the same unit.
    estimate : Estimate
        The answer: value, u and interval, by Monte Carlo where first order fails.
    """

    caliper: Caliper
    scale: PixelScale | NoScale
    result: MeasurementResult
    raw_value: float
    warnings: tuple[str, ...] = ()
    estimate: Estimate = field(init=False)

    def __post_init__(self) -> None:
        # wherever a measurement is made, the same rule chooses the method
        object.__setattr__(self, "estimate", estimate(self.result))

    @property
    def interval(self) -> CoverageInterval:
        """95 % coverage interval by the method of the estimate."""
        return self.estimate.interval


def measure_caliper(caliper: Caliper, scale: PixelScale | NoScale, *, modality: str) -> Measurement:
    """Measure one caliper.

    The model is Σ √((Δrow·s_row)² + (Δcolumn·s_column)²) · tilt factor. Inputs: the scale's own
    (shared by every caliper under it), both coordinates of each point with placing and pixel
    grid, and the tilt where it acts.

    Parameters
    ----------
    caliper : Caliper
    scale : PixelScale or NoScale
        The scale that holds at the caliper's points.
    modality : str
        DICOM modality of the loop, which decides how a tilt shows.
    """
    row, column, unit = _scales(scale)
    tilt = tilt_rule(caliper, modality)
    coordinates = _coordinates(caliper, (row.value, column.value) if scale else None)
    quantities: list[Quantity] = [row, column, *coordinates]
    if tilt.factor is not None:
        quantities.append(tilt.factor)
    model = _Model(points=len(caliper.points), tilt=tilt)
    result = propagate(model, quantities, unit=unit)
    raw = float(_length(*[quantity.value for quantity in quantities[: 2 + len(coordinates)]]))
    return Measurement(
        caliper=caliper,
        scale=scale,
        result=result,
        raw_value=raw,
        warnings=_warnings(caliper, scale, result, tilt),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Model:
    """Length of a path under a scale; a class so that results stay comparable and simple."""

    points: int
    tilt: TiltRule

    def __call__(self, *values: FloatArray) -> FloatArray:
        if self.tilt.factor is None:
            return _length(*values)
        return _length(*values[:-1]) * values[-1]


def _length(
    row_scale: FloatArray | float,
    column_scale: FloatArray | float,
    *coordinates: FloatArray | float,
) -> FloatArray:
    rows, columns = coordinates[0::2], coordinates[1::2]
    # not np.hypot: it guards against overflow, no length overflows, and drawing would wait for it
    steps = [
        np.sqrt(
            ((rows[k + 1] - rows[k]) * row_scale) ** 2
            + ((columns[k + 1] - columns[k]) * column_scale) ** 2
        )
        for k in range(len(rows) - 1)
    ]
    return np.asarray(sum(steps), dtype=float)


def _scales(scale: PixelScale | NoScale) -> tuple[Quantity, Quantity, str]:
    if isinstance(scale, NoScale):
        one = exact(1.0, key="no-scale", unit="px/px", source="no scale: lengths in pixels")
        return one, one, "px"
    return scale.row, scale.column, "mm"


def _coordinates(
    caliper: Caliper, mm_per_px: tuple[float, float] | None
) -> list[MeasurementResult]:
    """Return row and column of every point, each off by placing and by the pixel grid."""
    u_ends, source = _placing(caliper, mm_per_px)
    quantities = []
    for index, point in enumerate(caliper.points):
        for axis, value, u_end in zip(("row", "column"), point, u_ends, strict=True):
            key = f"{caliper.key}:{index}:{axis}"
            placed = stated(
                value, u_end, key=f"{key}:placed", unit="px", component="ends", source=source
            )
            quantities.append(_on_grid(placed, key, refined=caliper.origin == "refined"))
    return quantities


def _placing(
    caliper: Caliper, mm_per_px: tuple[float, float] | None
) -> tuple[tuple[float, float], str]:
    """Return how well an end is placed, in px along rows and columns, and who says so."""
    if caliper.u_end_mm is not None and mm_per_px is not None:
        # a millimetre takes fewer pixels along the axis on which pixels are longer
        u_ends = (caliper.u_end_mm / mm_per_px[0], caliper.u_end_mm / mm_per_px[1])
        return u_ends, f"placing an end, u = {caliper.u_end_mm:g} mm as stated"
    if caliper.u_end_px is not None:
        u_end = caliper.u_end_px
        return (u_end, u_end), f"placing an end, u = {u_end:g} px as stated"
    return (END_PX.value, END_PX.value), f"{END_PX.meaning} ({END_PX.source})"


def _on_grid(placed: InputQuantity, key: str, *, refined: bool) -> MeasurementResult:
    """Add the pixel grid's rounding, which a point refined on the profile does not have."""
    if refined:
        return propagate(lambda place: place, [placed], unit="px")
    grid = rectangular(
        0.0,
        PIXEL_HALF_WIDTH.value,
        key=f"{key}:pixel",
        unit="px",
        component="ends",
        source=f"{PIXEL_HALF_WIDTH.meaning} ({PIXEL_HALF_WIDTH.source})",
    )
    return propagate(lambda place, shift: place + shift, [placed, grid], unit="px")


def _warnings(
    caliper: Caliper, scale: PixelScale | NoScale, result: MeasurementResult, tilt: TiltRule
) -> tuple[str, ...]:
    confirmed = () if caliper.confirmed else ("not confirmed by a person",)
    if isinstance(scale, NoScale):
        unused = (
            f"the uncertainty of an end is stated in mm, which needs a scale: {END_PX.value:g} px "
            f"assumed ({END_PX.source})"
        )
        return (
            f"no scale, so the length is in pixels: {scale.reason}",
            *scale.warnings,
            *((unused,) if caliper.u_end_mm is not None else ()),
            *confirmed,
        )
    low, high = caliper.measurand.plausible_mm
    warnings = [*scale.warnings, *tilt.warnings]
    if not low <= result.value <= high:
        warnings.append(
            f"{result.value:.1f} mm is outside {low:g} to {high:g} mm, where "
            f"{caliper.measurand.title.lower()} usually lies: check frame, scale and points"
        )
    if expand(result).low < 0:
        warnings.append("the interval reaches below zero: this reading says nothing about a length")
    if scale.overruled:
        warnings.append(f"scale overruled: {scale.overruled}")
    return (*warnings, *confirmed)
