"""A caliper's coordinates as quantities: each off by the hand, the grid and the picture's blur."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.measurement.caliper import Caliper, Mark
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
AXES = ("row", "column")


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
    caliper: Caliper, mm_per_px: Pair | None, *, blurs: Sequence[Sequence[Blur]], by_repeats: bool
) -> list[MeasurementResult]:
    """Return row and column of every point.

    Calipers that rest on the same mark share its inputs: placing, grid and blur.

    Parameters
    ----------
    caliper : Caliper
    mm_per_px : (row, column) or None
        None without a scale.
    blurs : sequence of sequence of Blur
        One a mark of each point where the picture blurs, else empty; needs `mm_per_px`.
    by_repeats : bool
        Whether the reader's own repeats already say how well the whole is placed, pixel grid
        included: then neither is added here.
    """
    hand = _Hand(caliper=caliper, mm_per_px=mm_per_px, by_repeats=by_repeats)
    found = []
    for index in range(len(caliper.points)):
        marks = caliper.rests_on(index)
        shifts = blurs[index] if blurs and mm_per_px is not None else [None] * len(marks)
        for axis in (0, 1):
            parts = [
                hand.coordinate(mark, axis, blur) for mark, blur in zip(marks, shifts, strict=True)
            ]
            found.append(parts[0] if len(parts) == 1 else propagate(_middle, parts, unit="px"))
    return found


def mark_coordinates(
    marks: Sequence[Mark], *, carried_to: int | None = None, moved_px: float = 0.0
) -> list[MeasurementResult]:
    """Return row and column of the middle of some marks, as the calipers on them have it.

    Parameters
    ----------
    marks : sequence of Mark
    carried_to : int, optional
        Another frame to which they have been carried.
    moved_px : float
        How far they have moved until then at most: a half-range, rectangular.
    """
    found = []
    for axis in (0, 1):
        parts = [_carried(mark, axis, carried_to, moved_px) for mark in marks]
        found.append(parts[0] if len(parts) == 1 else propagate(_middle, parts, unit="px"))
    return found


def _carried(mark: Mark, axis: int, frame: int | None, moved_px: float) -> MeasurementResult:
    key = f"{mark.key}:{AXES[axis]}"
    u = END_PX.value if mark.u_px is None else mark.u_px
    place = _placed(key, mark.point[axis], u, _said(mark.u_px))
    shifts: list[InputQuantity] = [_grid(key)]
    if frame is not None and moved_px > 0:
        shifts.append(
            rectangular(
                0.0,
                moved_px,
                key=f"{key}:until:{frame}",
                unit="px",
                component="ends",
                source="how far a landmark moved until that frame",
            )
        )
    model = _Place(weights=(1.0,) * len(shifts))
    return propagate(model, [place, *shifts], unit="px")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hand:
    """How one caliper's marks were put down."""

    caliper: Caliper
    mm_per_px: Pair | None
    by_repeats: bool

    def coordinate(self, mark: Mark, axis: int, blur: Blur | None) -> MeasurementResult:
        """Return one coordinate of one mark."""
        caliper, key, value = self.caliper, f"{mark.key}:{AXES[axis]}", mark.point[axis]
        place: InputQuantity
        if self.by_repeats:
            place = exact(value, key=f"{key}:drawn", unit="px", source=BY_REPEATS)
        else:
            place = _placed(key, value, *self._how_well(mark, axis))
        on_grid = not self.by_repeats and caliper.origin != "refined"
        if on_grid and caliper.closed:
            # a contour has many coordinates: one input each, hand and grid together
            place = replace(place, u=math.hypot(place.u, PIXEL_HALF_WIDTH.value / math.sqrt(3)))
        shifts = [(_grid(key), 1.0)] if on_grid and not caliper.closed else []
        if blur is not None and self.mm_per_px is not None:
            size = self.mm_per_px[axis]
            shifts += [(one, way[axis] / size) for one, way in blur.parts]
        quantities: list[Quantity] = [place, *(shift for shift, _ in shifts)]
        model = _Place(weights=tuple(weight for _, weight in shifts))
        return propagate(model, quantities, unit="px")

    def _how_well(self, mark: Mark, axis: int) -> tuple[float, str]:
        """Return how well an end is placed along one axis in px, and who says so."""
        u_mm = self.caliper.u_end_mm
        if u_mm is not None and self.mm_per_px is not None:
            # a millimetre takes fewer pixels along the axis on which pixels are longer
            return u_mm / self.mm_per_px[axis], f"placing an end, u = {u_mm:g} mm as stated"
        return END_PX.value if mark.u_px is None else mark.u_px, _said(mark.u_px)


def _said(u_px: float | None) -> str:
    if u_px is not None:
        return f"placing an end, u = {u_px:g} px as stated"
    return f"{END_PX.meaning} ({END_PX.source})"


def _placed(key: str, value: float, u_px: float, source: str) -> InputQuantity:
    return stated(value, u_px, key=f"{key}:placed", unit="px", component="ends", source=source)


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


def _middle(*places: FloatArray) -> FloatArray:
    return np.asarray(sum(places) / len(places))
