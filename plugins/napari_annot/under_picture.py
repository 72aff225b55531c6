"""Puts a dock under the picture, in the theme's colours, and takes it away again."""

from typing import Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QMainWindow, QWidget

from napari_annot.docking import dock_of, put_in, take_out_later
from napari_annot.play_dock import PlayDock

TITLE = "Playback"


class UnderPicture:
    """Holds the dock of playback in the viewer's window as long as the desk is there."""

    def __init__(self, viewer: Any, dock: PlayDock) -> None:
        self._viewer, self._dock = viewer, dock
        self._settled = False
        # a model of a viewer has no window
        self._window = getattr(viewer, "window", None)
        if self._window is not None:
            put_in(self._window, dock, name=TITLE, area="bottom")
        viewer.events.theme.connect(self._follow_theme)
        self._follow_theme()

    def show_or_hide(self) -> None:
        """Show the dock, also where a person closed it, or hide it."""
        frame = dock_of(self._dock)
        if frame is not None and frame.isVisible():
            frame.hide()
        elif self._window is not None:
            put_in(self._window, self._dock, name=TITLE, area="bottom")

    def settle(self, window: QWidget, below: QWidget) -> None:
        """Stand right under the picture, another dock of the same side below."""
        own, other = dock_of(self._dock), dock_of(below)
        if self._settled or not isinstance(window, QMainWindow):
            return
        if own is not None and other is not None:
            self._settled = True
            window.splitDockWidget(own, other, Qt.Orientation.Vertical)

    def close(self) -> None:
        """Let go of desk and viewer; the dock goes once the event that ends it is over."""
        self._dock.close_down()
        self._viewer.events.theme.disconnect(self._follow_theme)
        if self._window is not None:
            take_out_later(self._window, self._dock)

    def _follow_theme(self) -> None:
        from napari.utils.theme import get_theme

        theme = get_theme(self._viewer.theme)
        self._dock.follow_theme(theme.text.as_hex(), theme.background.as_hex())
