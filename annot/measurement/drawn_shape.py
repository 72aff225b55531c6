"""From the places of a drawing's points to its number: length, angle, area, share."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry import (
    PixelPoint,
    chord_knots,
    polygon_area,
    polygon_perimeter,
    smooth_area,
    smooth_perimeter,
)
from annot.measurement.four_points import cover, offset, side_of_line, tilt_between
from annot.vocabulary.measurands import POINT_FORMS, Form

FloatArray = NDArray[np.float64]
Places = Sequence[FloatArray]
CONTOUR_FORMS = ("area", "perimeter", "area_diameter", "perimeter_diameter")


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnShape:
    """What is computed from the points, in the unit of the places it is given.

    A contour is the periodic cubic through its vertices, not the polygon, which cuts every arc
    short: eight even vertices on a circle make a polygon of 90 % of its area.

    Attributes
    ----------
    form : Form
    turn : float
        +1 or −1, the side to which a path bends or on which a point lies; keeps the angle smooth
        where it is nearly straight.
    course : tuple of PixelPoint
        A contour's vertices as drawn, whose direction a perimeter follows.
    knots : tuple of float
        A contour's parameter at its vertices.
    """

    form: Form
    turn: float = 1.0
    course: tuple[PixelPoint, ...] = ()
    knots: tuple[float, ...] = ()

    def of(self, rows: Places, columns: Places) -> FloatArray:
        """Return the number for places given one array a point."""
        if self.form == "length":
            return _length(rows, columns)
        if self.form == "angle":
            return _angle(rows, columns, self.turn)
        if self.form in POINT_FORMS:
            return self._of_four(rows, columns)
        down, across = _stacked(rows), _stacked(columns)
        if self.form in ("area", "area_diameter"):
            return self._sized(smooth_area(down, across, self.knots))
        return self._sized(smooth_perimeter(down, across, self.course, self.knots))

    def _of_four(self, rows: Places, columns: Places) -> FloatArray:
        if self.form == "cover":
            return cover(rows, columns)
        way = offset if self.form == "offset" else tilt_between
        return way(rows, columns, self.turn)

    def as_drawn(self, rows: Places, columns: Places) -> FloatArray:
        """Return the number of the straight lines that were drawn: of a contour the polygon's."""
        if self.form not in CONTOUR_FORMS:
            return self.of(rows, columns)
        down, across = _stacked(rows), _stacked(columns)
        if self.form in ("area", "area_diameter"):
            return self._sized(polygon_area(down, across))
        return self._sized(polygon_perimeter(down, across))

    def tilted(self, value: FloatArray, factor: FloatArray) -> FloatArray:
        """Apply the factor by which one axis is longer than seen.

        An area takes the factor, its diameter the root; a perimeter half of it, which is exact to
        first order for a circle.
        """
        if self.form == "area_diameter":
            return value * np.sqrt(factor)
        if self.form in ("perimeter", "perimeter_diameter"):
            return value * (1.0 + factor) / 2.0
        return value * factor

    def _sized(self, value: FloatArray) -> FloatArray:
        if self.form == "area_diameter":
            return np.asarray(2.0 * np.sqrt(value / np.pi))
        return value / np.pi if self.form == "perimeter_diameter" else value


def shape_of(form: Form, places: Sequence[PixelPoint]) -> DrawnShape:
    """Return the shape of points at their estimated places, in one unit along both axes."""
    if form == "angle":
        (r0, c0), (r1, c1), (r2, c2) = places
        cross = (r1 - r0) * (c2 - c1) - (c1 - c0) * (r2 - r1)
        return DrawnShape(form=form, turn=-1.0 if cross < 0 else 1.0)
    if form in POINT_FORMS:
        return DrawnShape(form=form, turn=side_of_line(form, places))
    if form in CONTOUR_FORMS:
        return DrawnShape(form=form, course=tuple(places), knots=chord_knots(places))
    return DrawnShape(form=form)


def _length(rows: Places, columns: Places) -> FloatArray:
    # not np.hypot: it guards against overflow, no length overflows, and drawing would wait for it
    steps = [
        np.sqrt((rows[k + 1] - rows[k]) ** 2 + (columns[k + 1] - columns[k]) ** 2)
        for k in range(len(rows) - 1)
    ]
    return np.asarray(sum(steps), dtype=float)


def _angle(rows: Places, columns: Places, turn: float) -> FloatArray:
    """Return the angle between two legs in degrees: 180 less the bend, which is smooth at 0.

    A leg folded right back has a bend of 180: one drawn just beyond it is no straight path, so the
    angle goes on below 0 there, and above 180 where a straight path is drawn bent the other way.
    """
    down, across = ([one[1] - one[0] for one in (axis[:2], axis[1:])] for axis in (rows, columns))
    cross = down[0] * across[1] - across[0] * down[1]
    dot = down[0] * down[1] + across[0] * across[1]
    angle = 180.0 - np.degrees(np.arctan2(turn * cross, dot))
    return np.asarray(np.where(angle > 270.0, angle - 360.0, angle))


def _stacked(places: Places) -> FloatArray:
    return np.stack(np.broadcast_arrays(*places))
