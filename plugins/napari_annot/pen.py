"""The pointer on the picture: press, move, release become drafts and calipers. No napari."""

from annot.geometry import PixelPoint
from napari_annot.desk import Desk
from napari_annot.drawing import Draft
from napari_annot.shapes import clamp, distance_px, distance_to_line_px
from napari_annot.tools import tool_of


class Pen:
    """Turns what the pointer does into changes of the desk.

    A press and a drag draw a line at once; a press without a drag puts down one point, and the
    line follows the pointer until enough points are down.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def press(self, point: PixelPoint, *, reach_px: float) -> bool:
        """Start, go on, or take hold of an end within reach; False leaves the press to others."""
        desk = self._desk
        if desk.loop is None or desk.shown is None:
            return False
        point = self._on_image(point)
        if desk.draft is not None:
            desk.draw(desk.draft.at(point))
            return True
        if desk.tool is not None:
            desk.draw(
                Draft(tool=desk.tool, file=desk.shown, frame=desk.frame, fixed=(), floating=point)
            )
            return True
        return self._take_hold(point, reach_px)

    def move(self, point: PixelPoint) -> bool:
        """Let the unfinished line follow the pointer; False if there is none."""
        if self._desk.draft is None:
            return False
        self._desk.draw(self._desk.draft.at(self._on_image(point)))
        return True

    def drag(self, pressed: PixelPoint, point: PixelPoint) -> None:
        """Follow a drag that began at `pressed`: a fresh line starts there."""
        draft = self._desk.draft
        if draft is None:
            return
        if draft.corrects is None and not draft.fixed:
            start = self._on_image(pressed)
            draft = Draft(
                tool=draft.tool, file=draft.file, frame=draft.frame, fixed=(start,), floating=start
            )
        self._desk.draw(draft.at(self._on_image(point)))

    def release(self, point: PixelPoint, *, travelled: bool) -> None:
        """End a drag, or put down a point."""
        desk, draft = self._desk, self._desk.draft
        if draft is None:
            return
        draft = draft.at(self._on_image(point))
        if draft.corrects is not None:
            desk.draw(draft if travelled else None)
            desk.finish()
            return
        first_stroke = len(draft.fixed) <= 1
        draft = draft.put_down()
        desk.draw(draft)
        stroke_is_all = travelled and first_stroke and draft.least_points == 2
        if len(draft.fixed) >= draft.most_points or stroke_is_all:
            desk.finish()

    def end_path(self) -> bool:
        """Let a path of two or more points stand; False if none is being drawn."""
        draft = self._desk.draft
        if draft is None or draft.corrects is not None or len(draft.fixed) < 2:
            return False
        more = draft.least_points - len(draft.fixed)
        if more > 0:
            self._desk.say(f"Go on clicking: at least {more} more to come.", fault=True)
            self._desk.changed.emit()
            return True
        self._desk.draw(draft.at(draft.fixed[-1]))
        self._desk.finish()
        return True

    def cancel(self) -> None:
        """Put the tool down and give up what is half drawn."""
        self._desk.arm(None)

    def _take_hold(self, point: PixelPoint, reach_px: float) -> bool:
        """Take hold of the nearest end within reach, or select the line under the pointer."""
        desk = self._desk
        ends = [
            (distance_px(corner, point), caliper, index)
            for caliper in desk.calipers_on_show()
            for index, corner in enumerate(caliper.points)
        ]
        near = min(ends, key=lambda one: one[0], default=None)
        if near is not None and near[0] <= reach_px:
            _, caliper, index = near
            desk.selected = caliper.key
            desk.draw(
                Draft(
                    tool=tool_of(caliper.measurand),
                    file=desk.shown or "",
                    frame=desk.frame,
                    fixed=(),
                    floating=caliper.points[index],
                    corrects=caliper,
                    corner=index,
                )
            )
            return True
        for caliper in desk.calipers_on_show():
            if distance_to_line_px(point, caliper.drawn_points) <= reach_px / 2:
                desk.select(caliper.key)
                return False
        return False

    def _on_image(self, point: PixelPoint) -> PixelPoint:
        loop = self._desk.loop
        if loop is None:
            return point
        return clamp(point, loop.header.rows, loop.header.columns)
