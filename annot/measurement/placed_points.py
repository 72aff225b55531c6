"""A caliper's coordinates as quantities: each off by the hand, the grid and the picture's blur."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.measurement.caliper import Caliper
from annot.measurement.echo_beam import Blur
from annot.measurement.placement import END_PX, PIXEL_HALF_WIDTH
from annot.uncertainty import (
    InputQuantity,
    MeasurementResult,
    Quantity,
    exact,
    propagate,
    rectangular,
    stated,
)

FloatArray = NDArray[np.float64]
Pair = tuple[float, float]
BY_REPEATS = "as drawn: what the hand adds is a term of its own, from repeats"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """A coordinate in px: where it was put, plus shifts in px and in mm, each with its weight."""

    weights: tuple[float, ...]

    def __call__(self, place: FloatArray, *shifts: FloatArray) -> FloatArray:
        total = place
        for weight, shift in zip(self.weights, shifts, strict=True):
            total = total + weight * shift
        return total


def coordinates_of(
    caliper: Caliper, mm_per_px: Pair | None, *, blurs: Sequence[Blur], by_repeats: bool
) -> list[MeasurementResult]:
    """Return row and column of every point.

    Parameters
    ----------
    caliper : Caliper
    mm_per_px : (row, column) or None
        None without a scale.
    blurs : sequence of Blur
        One a point where the picture blurs, else empty; needs `mm_per_px`.
    by_repeats : bool
        Whether the reader's own repeats already say how well the whole is placed, pixel grid
        included: then neither is added here.
    """
    u_ends, source = _placing(caliper, mm_per_px)
    found = []
    for index, point in enumerate(caliper.points):
        for axis, (name, value) in enumerate(zip(("row", "column"), point, strict=True)):
            key = f"{caliper.key}:{index}:{name}"
            place: InputQuantity
            if by_repeats:
                place = exact(value, key=f"{key}:drawn", unit="px", source=BY_REPEATS)
            else:
                place = stated(
                    value,
                    u_ends[axis],
                    key=f"{key}:placed",
                    unit="px",
                    component="ends",
                    source=source,
                )
            on_grid = not by_repeats and caliper.origin != "refined"
            if on_grid and caliper.closed:
                # a contour has many coordinates: one input each, hand and grid together
                place = replace(place, u=math.hypot(place.u, PIXEL_HALF_WIDTH.value / math.sqrt(3)))
            shifts = [(_grid(key), 1.0)] if on_grid and not caliper.closed else []
            if blurs and mm_per_px is not None:
                size = mm_per_px[axis]
                shifts += [(blur, way[axis] / size) for blur, way in blurs[index].parts]
            quantities: list[Quantity] = [place, *(shift for shift, _ in shifts)]
            model = _Place(weights=tuple(weight for _, weight in shifts))
            found.append(propagate(model, quantities, unit="px"))
    return found


def _placing(caliper: Caliper, mm_per_px: Pair | None) -> tuple[Pair, str]:
    """Return how well an end is placed, in px along rows and columns, and who says so."""
    if caliper.u_end_mm is not None and mm_per_px is not None:
        # a millimetre takes fewer pixels along the axis on which pixels are longer
        u_ends = (caliper.u_end_mm / mm_per_px[0], caliper.u_end_mm / mm_per_px[1])
        return u_ends, f"placing an end, u = {caliper.u_end_mm:g} mm as stated"
    if caliper.u_end_px is not None:
        u_end = caliper.u_end_px
        return (u_end, u_end), f"placing an end, u = {u_end:g} px as stated"
    return (END_PX.value, END_PX.value), f"{END_PX.meaning} ({END_PX.source})"


def _grid(key: str) -> InputQuantity:
    """Return the pixel grid's rounding, which a point refined on the profile does not have."""
    return rectangular(
        0.0,
        PIXEL_HALF_WIDTH.value,
        key=f"{key}:pixel",
        unit="px",
        component="ends",
        source=f"{PIXEL_HALF_WIDTH.meaning} ({PIXEL_HALF_WIDTH.source})",
    )
