"""Everything between desk and viewer that is no widget: picture, lines, mouse, caption."""

from typing import Any

from napari_annot.caliper_layer import CaliperLayer
from napari_annot.caption import Caption
from napari_annot.desk import Desk
from napari_annot.looks import Looks
from napari_annot.mouse import Mouse
from napari_annot.pictures import Pictures

DELETE_KEYS = ("Delete", "Backspace")


class Stage:
    """Binds a desk to a viewer until it is closed."""

    def __init__(self, viewer: Any, desk: Desk) -> None:
        self._viewer = viewer
        self._async_was = _hold_async_off()
        self._surround_was = viewer.canvas.background_color_override
        # a bright surround dazzles: the light theme would put white around a dark picture
        viewer.canvas.background_color_override = "black"
        # the picture before the lines, so that they are drawn above it on the same signal
        self.pictures = Pictures(viewer, desk)
        self.lines = CaliperLayer(viewer, desk)
        self.mouse = Mouse(viewer, desk, self.pictures)
        self.looks = Looks(viewer, desk, self.pictures)
        self.caption = Caption(viewer, desk)
        self._desk = desk
        # on the canvas only: in napari's list of layers the same key takes a layer away
        for key in DELETE_KEYS:
            viewer.bind_key(key, self._delete, overwrite=True)
        self.lines.refresh()

    def close(self) -> None:
        """Let go of the viewer; the layer of lines goes, the picture stays."""
        for key in DELETE_KEYS:
            self._viewer.bind_key(key, None)
        for part in (self.looks, self.mouse, self.caption, self.lines, self.pictures):
            part.close()
        self._viewer.canvas.background_color_override = self._surround_was
        if self._async_was:
            _set_async(on=True)

    def hold_caption(self, on: bool) -> None:  # as a signal hands it over
        """Let the caption rest while frames run by."""
        self.caption.hold(on=on)

    def _delete(self, _: Any) -> None:
        self._desk.delete_selected()


def _hold_async_off() -> bool:
    """Switch asynchronous slicing off and return whether it was on.

    With it, the calipers of one frame stand over the picture of another until that arrives.
    """
    from napari.settings import get_settings

    was = bool(get_settings().experimental.async_)
    if was:
        _set_async(on=False)
    return was


def _set_async(*, on: bool) -> None:
    from napari.settings import get_settings

    get_settings().experimental.async_ = on
