"""A line that is being drawn or corrected: nothing of it stands in the read yet."""

from dataclasses import dataclass, replace
from itertools import pairwise

from annot.geometry import PixelPoint
from annot.measurement import Caliper
from napari_annot.shapes import distance_px
from napari_annot.tools import Tool

SHORTEST_PX = 1.0
MOST_TRACE_POINTS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """An unfinished line.

    Attributes
    ----------
    fixed : tuple of PixelPoint
        Points put down already.
    floating : PixelPoint
        Follows the pointer.
    corrects : Caliper or None
        The caliper whose corner `corner` is being dragged.
    """

    tool: Tool
    file: str
    frame: int
    fixed: tuple[PixelPoint, ...]
    floating: PixelPoint
    corrects: Caliper | None = None
    corner: int = 0

    @property
    def points(self) -> tuple[PixelPoint, ...]:
        """All points as they would stand now."""
        if self.corrects is not None:
            moved = list(self.corrects.points)
            moved[self.corner] = self.floating
            return tuple(moved)
        if self.fixed and distance_px(self.fixed[-1], self.floating) < SHORTEST_PX:
            return self.fixed
        return (*self.fixed, self.floating)

    @property
    def most_points(self) -> int:
        """How many points the tool takes."""
        if self.tool.straight:
            return 2
        measurand = self.tool.measurand
        return measurand.max_points if measurand else MOST_TRACE_POINTS

    @property
    def drawable(self) -> bool:
        """Whether the points make a line that is long enough to stand."""
        points = self.points
        steps = pairwise(points)
        return len(points) > 1 and all(distance_px(*pair) >= SHORTEST_PX for pair in steps)

    def at(self, point: PixelPoint) -> "Draft":
        """Return the draft with the pointer at a point."""
        return replace(self, floating=point)

    def put_down(self) -> "Draft":
        """Return the draft with the floating point fixed."""
        return replace(self, fixed=self.points)
