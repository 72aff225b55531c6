"""The viewer's mouse, handed to the pen: napari's own drawing tools break on a frame change."""

from collections.abc import Generator
from typing import Any

from annot.geometry import PixelPoint
from napari_annot.desk import Desk
from napari_annot.pen import Pen
from napari_annot.pictures import Pictures
from napari_annot.shapes import distance_px, to_pixel_point

REACH_SCREEN_PX = 9.0
TRAVEL_SCREEN_PX = 4.0


class Mouse:
    """Callbacks on the viewer, so that drawing works whichever layer is active."""

    def __init__(self, viewer: Any, desk: Desk, pictures: Pictures) -> None:
        self._viewer, self._desk, self._pictures = viewer, desk, pictures
        self.pen = Pen(desk)
        self._zoom_clicks: list[Any] = []
        viewer.mouse_drag_callbacks.append(self._on_drag)
        viewer.mouse_move_callbacks.append(self._on_move)
        viewer.mouse_double_click_callbacks.append(self._on_double_click)
        desk.changed.connect(self._hold_zoom)

    def close(self) -> None:
        """Take the callbacks back."""
        self._release_zoom()
        self._viewer.mouse_drag_callbacks.remove(self._on_drag)
        self._viewer.mouse_move_callbacks.remove(self._on_move)
        self._viewer.mouse_double_click_callbacks.remove(self._on_double_click)
        self._desk.changed.disconnect(self._hold_zoom)

    def _on_drag(self, _: Any, event: Any) -> Generator[None, None, None]:
        if event.button != 1 or event.modifiers or self._elsewhere():
            return
        pressed = self._point(event)
        if pressed is None or not self.pen.press(
            pressed, reach_px=REACH_SCREEN_PX / event.camera_zoom
        ):
            return
        event.handled = True  # the camera stays where it is
        travelled = False
        point = pressed
        yield
        while event.type == "mouse_move":
            event.handled = True
            point = self._point(event) or point
            reach = TRAVEL_SCREEN_PX / event.camera_zoom
            travelled = travelled or distance_px(pressed, point) > reach
            if travelled:
                self.pen.drag(pressed, point)
            yield
        self.pen.release(point if travelled else pressed, travelled=travelled)

    def _on_move(self, _: Any, event: Any) -> None:
        if self._desk.draft is None or event.is_dragging:
            return
        point = self._point(event)
        if point is not None:
            self.pen.move(point)

    def _on_double_click(self, _: Any, event: Any) -> None:
        del event
        self.pen.end_path()

    def _elsewhere(self) -> bool:
        """Whether the press belongs to another tool, or nothing may be drawn now."""
        desk = self._desk
        if desk.shown is None:
            return True
        active = self._viewer.layers.selection.active
        if desk.tool is None and getattr(active, "mode", "pan_zoom") != "pan_zoom":
            return True
        fault = self._pictures.fault()
        if fault and desk.tool is not None:
            desk.arm(None)
            desk.say(fault, fault=True)
            desk.changed.emit()
        return bool(fault)

    def _point(self, event: Any) -> PixelPoint | None:
        layer = self._pictures.layer
        return None if layer is None else to_pixel_point(layer.world_to_data(event.position))

    def _hold_zoom(self) -> None:
        """While a line is drawn, a double click ends it and does not zoom."""
        if self._desk.tool is None and self._desk.draft is None:
            self._release_zoom()
        elif not self._zoom_clicks:
            clicks = self._viewer.mouse_double_click_callbacks
            self._zoom_clicks = [one for one in clicks if one != self._on_double_click]
            for one in self._zoom_clicks:
                clicks.remove(one)

    def _release_zoom(self) -> None:
        clicks = self._viewer.mouse_double_click_callbacks
        clicks[:] = [*self._zoom_clicks, *clicks]
        self._zoom_clicks = []
