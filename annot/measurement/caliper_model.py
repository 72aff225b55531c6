"""The model of one number of a caliper: scale, coordinates, and the terms that act on the whole."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.measurement.drawn_shape import DrawnShape
from annot.measurement.echo_beam import Direction

FloatArray = NDArray[np.float64]
Term = Literal["sound", "between", "placing", "tilt", "frame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaliperModel:
    """A class, so that results stay comparable and simple.

    Arguments are the row and column scale, row and column of every point, and one value for each
    of `terms`: sound stretches along the beam; between takes up part of smooth curve minus
    polygon; placing and frame add; tilt multiplies.
    """

    shape: DrawnShape
    points: int
    terms: tuple[Term, ...] = ()
    beam: Direction = (1.0, 0.0)
    gap: float = 0.0

    def __call__(
        self, row_scale: FloatArray, column_scale: FloatArray, *values: FloatArray
    ) -> FloatArray:
        """Return the number for estimates or for drawn samples, one array an argument."""
        count = 2 * self.points
        terms = dict(zip(self.terms, values[count:], strict=True))
        rows = [one * row_scale for one in values[0:count:2]]
        columns = [one * column_scale for one in values[1:count:2]]
        if "sound" in terms:
            rows, columns = self._stretched(rows, columns, terms["sound"] - 1.0)
        value = self.shape.of(rows, columns)
        if "between" in terms:
            value = value + self.gap * terms["between"]
        if "placing" in terms:
            value = value + terms["placing"]
        if "tilt" in terms:
            value = self.shape.tilted(value, terms["tilt"])
        return value + terms["frame"] if "frame" in terms else value

    def _stretched(
        self, rows: list[FloatArray], columns: list[FloatArray], more: FloatArray
    ) -> tuple[list[FloatArray], list[FloatArray]]:
        down, across = self.beam
        along = [
            (row * down + column * across) * more for row, column in zip(rows, columns, strict=True)
        ]
        return (
            [row + part * down for row, part in zip(rows, along, strict=True)],
            [column + part * across for column, part in zip(columns, along, strict=True)],
        )
