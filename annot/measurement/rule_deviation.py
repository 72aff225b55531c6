"""How far a drawn width lies from the rule that its protocol states.

Own definition by plane geometry: the rule of a landing zone is a line square to the neck's axis at
a stated distance inside the ostium's middle; that of an ostium runs from the circumflex side to the
ridge tip.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration import NoScale, PixelScale
from annot.measurement.caliper import Caliper, Mark
from annot.measurement.placed_landmark import LandmarkSet
from annot.measurement.placed_points import coordinates_of, mark_coordinates
from annot.uncertainty import (
    MeasurementResult,
    Quantity,
    exact,
    expand,
    propagate,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleDeviation:
    """A drawn caliper against the rule.

    Attributes
    ----------
    name : str
        ``off_square`` (deg), ``off_distance`` (mm, deeper than the rule positive) or ``off_width``
        (mm, wider than from landmark to landmark positive).
    result : MeasurementResult
    """

    name: str
    result: MeasurementResult

    @property
    def words(self) -> str:
        """One sentence for a table's warnings."""
        value, u = self.result.value, self.result.u
        if self.name == "off_square":
            return f"{value:.1f}° ± {u:.1f}° (u) off square to the neck's axis"
        if self.name == "off_distance":
            way = "deeper" if value > 0 else "nearer the ostium"
            return f"{abs(value):.1f} ± {u:.1f} mm (u) {way} than the protocol's landing zone"
        way = "wider" if value > 0 else "narrower"
        return f"{abs(value):.1f} ± {u:.1f} mm (u) {way} than from landmark to landmark"

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        held = expand(self.result)
        return {
            "name": self.name,
            "value": self.result.value,
            "u": self.result.u,
            "low": held.low,
            "high": held.high,
            "unit": self.result.unit,
        }


def rule_deviations(
    caliper: Caliper,
    marks: LandmarkSet,
    scale: PixelScale | NoScale,
    *,
    inside_mm: float | None,
    moved_px: float = 0.0,
) -> tuple[RuleDeviation, ...]:
    """Return how far a drawn width lies from its rule, as far as landmarks and scale tell.

    Parameters
    ----------
    caliper : Caliper
    marks : LandmarkSet
        Of the same frame, or carried to it.
    scale : PixelScale or NoScale
        Without one, angles alone, square pixels assumed.
    inside_mm : float or None
        The protocol's distance from ostium to landing zone.
    moved_px : float
        How far landmarks carried from another frame have moved at most.
    """
    drawn = _drawn(caliper, scale)
    axis = marks.placed("neck_axis")

    def placed(*corners: Sequence[Mark]) -> list[MeasurementResult]:
        frame = caliper.frame.frame
        return [
            part
            for one in corners
            for part in mark_coordinates(one, carried_to=frame, moved_px=moved_px)
        ]

    found = []
    if caliper.measurand.name == "landing_zone_width" and axis:
        direction = placed(axis[:1], axis[1:])
        squared = _off_square([*_pair(scale), *drawn, *direction])
        found.append(RuleDeviation(name="off_square", result=squared))
        if inside_mm is not None and marks.centre and isinstance(scale, PixelScale):
            rule = exact(inside_mm, key="landing_zone_inside", unit="mm", source="the protocol")
            inputs = [*_pair(scale), rule, *drawn, *direction, *placed(marks.centre)]
            deep = propagate(_off_distance, inputs, unit="mm")
            found.append(RuleDeviation(name="off_distance", result=deep))
    if caliper.measurand.name == "ostium_width" and marks.ostium and isinstance(scale, PixelScale):
        ends = placed(*((one,) for one in marks.ostium))
        off = propagate(_off_width, [*_pair(scale), *drawn, *ends], unit="mm")
        found.append(RuleDeviation(name="off_width", result=off))
    return tuple(found)


def _pair(scale: PixelScale | NoScale) -> tuple[Quantity, Quantity]:
    if isinstance(scale, PixelScale):
        return scale.row, scale.column
    one = exact(1.0, key="square-pixels", unit="px", source="no scale: square pixels")
    return one, one


def _drawn(caliper: Caliper, scale: PixelScale | NoScale) -> list[MeasurementResult]:
    sizes = (scale.row.value, scale.column.value) if isinstance(scale, PixelScale) else None
    return coordinates_of(caliper, sizes, blurs=[], by_repeats=False)


def _places(
    row: FloatArray, column: FloatArray, values: Sequence[FloatArray]
) -> list[tuple[FloatArray, FloatArray]]:
    pairs = zip(values[::2], values[1::2], strict=True)
    return [(down * row, across * column) for down, across in pairs]


@dataclass(frozen=True, slots=True, kw_only=True)
class _OffSquare:
    """Signed, so that it is smooth at 0; the sign is that of the drawing as it stands."""

    turn: float
    side: float

    def __call__(self, row: FloatArray, column: FloatArray, *values: FloatArray) -> FloatArray:
        (r0, c0), (r1, c1), (r2, c2), (r3, c3) = _places(row, column, values)
        dot = (r1 - r0) * (r3 - r2) + (c1 - c0) * (c3 - c2)
        cross = (r1 - r0) * (c3 - c2) - (c1 - c0) * (r3 - r2)
        return np.asarray(np.degrees(np.arctan2(self.turn * dot, self.side * cross)))


def _off_square(inputs: Sequence[Quantity]) -> MeasurementResult:
    values = [np.asarray(one.value) for one in inputs]
    bare = float(_OffSquare(turn=1.0, side=1.0)(*values))
    side = -1.0 if abs(bare) > 90 else 1.0
    turn = -1.0 if bare < 0 else 1.0
    return propagate(_OffSquare(turn=turn, side=side), inputs, unit="deg")


def _off_distance(
    row: FloatArray, column: FloatArray, inside: FloatArray, *values: FloatArray
) -> FloatArray:
    (r0, c0), (r1, c1), (r2, c2), (r3, c3), centre = _places(row, column, values)
    down, across = r3 - r2, c3 - c2
    length = np.sqrt(down**2 + across**2)
    along = ((r0 + r1) / 2 - centre[0]) * down + ((c0 + c1) / 2 - centre[1]) * across
    return np.asarray(along / length - inside)


def _off_width(row: FloatArray, column: FloatArray, *values: FloatArray) -> FloatArray:
    first, last, circumflex, ridge = _places(row, column, values)
    return _apart(first, last) - _apart(circumflex, ridge)


def _apart(one: tuple[FloatArray, FloatArray], other: tuple[FloatArray, FloatArray]) -> FloatArray:
    return np.asarray(np.sqrt((one[0] - other[0]) ** 2 + (one[1] - other[1]) ** 2))
