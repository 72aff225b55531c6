"""A line that is being drawn or corrected: nothing of it stands in the read yet."""

from dataclasses import dataclass, replace
from itertools import pairwise

from annot.errors import InputError
from annot.geometry import PixelPoint, crosses_itself
from annot.measurement import Caliper
from annot.tasks.read import Read
from annot.vocabulary import FrameReference
from annot.vocabulary.landmarks import LANDMARKS
from napari_annot import read_edits as edits
from napari_annot.end_placing import EndPlacing
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
    def drawn_points(self) -> tuple[PixelPoint, ...]:
        """The points as a pen would run: a contour goes back to its first point."""
        points = self.points
        closes = self.tool.measurand is not None and self.tool.measurand.kind == "contour"
        return (*points, points[0]) if closes and len(points) > 2 else points

    @property
    def most_points(self) -> int:
        """How many points the tool takes."""
        if self.tool.landmark is not None:
            return LANDMARKS[self.tool.landmark].points
        if self.tool.straight:
            return 2
        measurand = self.tool.measurand
        return measurand.max_points if measurand else MOST_TRACE_POINTS

    @property
    def least_points(self) -> int:
        """How many points the tool needs."""
        if self.tool.landmark is not None:
            return LANDMARKS[self.tool.landmark].points
        return self.tool.measurand.min_points if self.tool.measurand else 2

    @property
    def drawable(self) -> bool:
        """Whether the points are enough and make lines that are long enough to stand."""
        points = self.points
        steps = pairwise(points)
        if self.tool.measurand and self.tool.measurand.kind == "contour" and crosses_itself(points):
            return False
        return len(points) >= self.least_points and all(
            distance_px(*pair) >= SHORTEST_PX for pair in steps
        )

    @property
    def why_not_drawable(self) -> str:
        """What is amiss with a draft that cannot stand."""
        if len(self.points) < self.least_points and self.least_points > 2:
            return f"it takes {self.least_points} points"
        if self.tool.measurand is not None and self.tool.measurand.kind == "contour":
            return "the line crosses itself, or two neighbouring points are less than 1 px apart"
        return "the line is shorter than one pixel"

    def at(self, point: PixelPoint) -> "Draft":
        """Return the draft with the pointer at a point."""
        return replace(self, floating=point)

    def put_down(self) -> "Draft":
        """Return the draft with the floating point fixed."""
        return replace(self, fixed=self.points)


def caliper_of(draft: Draft, read: Read, placing: EndPlacing) -> Caliper:
    """Return the caliper that a draft would become in a read.

    Raises
    ------
    InputError
        If the draft is a reference object's trace.
    """
    if draft.corrects is not None:
        # a corner moved by hand is a drawn one, whatever it was
        return replace(draft.corrects, points=draft.points, origin="drawn", confirmed=True)
    measurand = draft.tool.measurand
    if measurand is None:
        raise InputError("A reference object's trace is no caliper.")
    loop = edits.loop_of(read, draft.file)
    return Caliper(
        key=edits.free_key(read, measurand.name),
        measurand=measurand,
        frame=FrameReference(sop_instance_uid=loop.sop_instance_uid or "", frame=draft.frame),
        points=draft.points,
        repeat=edits.next_repeat(loop, measurand.name, draft.frame),
        u_end_px=placing.u_px,
        u_end_mm=placing.u_mm,
    )
