"""A caliper: what was drawn, by whom it was confirmed, nothing computed."""

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from annot.errors import InputError
from annot.geometry import PixelPoint, crosses_itself, length_px, polygon_area
from annot.vocabulary import FrameReference, Measurand

Origin = Literal["drawn", "tracked", "refined", "derived"]
SHORTEST_PX = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point that several calipers may rest on, so that they share the error of placing it.

    Attributes
    ----------
    key : str
        Names its two coordinates in a budget.
    point : PixelPoint
    u_px : float or None
        Standard uncertainty of placing it along either axis; None takes the default.
    """

    key: str
    point: PixelPoint
    u_px: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Caliper:
    """Two points, a path, an angle or a closed contour on one frame for one measurand.

    Attributes
    ----------
    key : str
        Unique within a read; the budget's end points are named by it.
    points : tuple of PixelPoint
        First and last are the ends; of a contour, two neighbours like any others.
    view_deg : float or None
        Direction in the plane of the cross-section, 0 to 180 (ultrasound: the multiplane angle).
    u_end_px, u_end_mm : float or None
        Standard uncertainty of placing one end, in one of the two units; None takes the default.
    tilt_deg : float or None
        Half-range of the unknown tilt of plane or segment; None leaves tilt out, with a warning
        where tilt acts.
    marks : tuple of tuple of Mark
        Of what follows from landmarks: for each point the marks whose middle it is.
    """

    key: str
    measurand: Measurand
    frame: FrameReference
    points: tuple[PixelPoint, ...]
    view_deg: float | None = None
    repeat: int = 1
    beat: int | None = None
    moment: str | None = None
    u_end_px: float | None = None
    u_end_mm: float | None = None
    tilt_deg: float | None = None
    origin: Origin = "drawn"
    confirmed: bool = True
    note: str = ""
    marks: tuple[tuple[Mark, ...], ...] = ()

    def __post_init__(self) -> None:
        for check in (self._refuse_points, self._refuse_drawing, self._refuse_statements):
            fault = check()
            if fault:
                raise InputError(f"Caliper {self.key}: {fault}")

    def _refuse_points(self) -> str:
        least, most = self.measurand.min_points, self.measurand.max_points
        if not least <= len(self.points) <= most:
            return f"{self.measurand.title} takes {least} to {most} points, got {len(self.points)}."
        if not all(math.isfinite(number) for point in self.points for number in point):
            return "a point is not two finite numbers; draw it again."
        return ""

    def _refuse_drawing(self) -> str:
        path = self.drawn_points
        if any(length_px(pair) < SHORTEST_PX for pair in itertools.pairwise(path)):
            return "two neighbouring points are less than one pixel apart; draw it again."
        if self.closed and crosses_itself(self.points):
            return "the contour crosses itself, so it has no one inside; draw it again."
        if self.closed and _is_flat(self.points):
            return "the contour's points lie on one line, so it has no inside; draw it again."
        return ""

    def _refuse_statements(self) -> str:
        if self.u_end_px is not None and self.u_end_mm is not None:
            return "give the uncertainty of an end in px or in mm, not in both."
        if any(u is not None and not 0 < u < math.inf for u in (self.u_end_px, self.u_end_mm)):
            return "the uncertainty of an end is a positive number."
        if self.tilt_deg is not None and not 0 <= self.tilt_deg <= 60:
            return f"the half-range of its tilt is {self.tilt_deg:g}, but lies in 0 to 60 degrees."
        return ""

    @property
    def states_ends(self) -> bool:
        """Whether it says itself how well its ends are placed."""
        return self.u_end_px is not None or self.u_end_mm is not None

    def rests_on(self, index: int) -> tuple[Mark, ...]:
        """Return the marks whose middle a point is; of a drawn one, itself."""
        if self.marks:
            return self.marks[index]
        return (Mark(key=f"{self.key}:{index}", point=self.points[index], u_px=self.u_end_px),)

    @property
    def closed(self) -> bool:
        """Whether the last point is joined to the first."""
        return self.measurand.kind == "contour"

    @property
    def drawn_points(self) -> tuple[PixelPoint, ...]:
        """The points as a pen would run: once round a contour, back to its first point."""
        return (*self.points, self.points[0]) if self.closed else self.points

    @property
    def length_px(self) -> float:
        """Length as drawn, in pixels, square pixels assumed."""
        return length_px(self.drawn_points)


def _is_flat(points: tuple[PixelPoint, ...]) -> bool:
    """Whether a closed polygon holds next to nothing: less than a millionth of its length²."""
    rows, columns = np.asarray(points, dtype=float).T
    around = length_px((*points, points[0]))
    return bool(polygon_area(rows, columns) < 1e-6 * around**2)
