"""Puts a dock under the picture, in the theme's colours, and takes it away again."""

from functools import partial
from typing import Any

from qtpy.QtCore import Qt, QTimer
from qtpy.QtWidgets import QDockWidget, QMainWindow, QWidget

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
            self._window.add_dock_widget(
                dock, name=TITLE, area="bottom", add_vertical_stretch=False
            )
        viewer.events.theme.connect(self._follow_theme)
        self._follow_theme()

    def settle(self, window: QWidget, below: QWidget) -> None:
        """Stand right under the picture, another dock of the same side below."""
        own, other = self._dock.parentWidget(), below.parentWidget()
        if self._settled or not isinstance(window, QMainWindow):
            return
        if isinstance(own, QDockWidget) and isinstance(other, QDockWidget):
            self._settled = True
            window.splitDockWidget(own, other, Qt.Orientation.Vertical)

    def close(self) -> None:
        """Let go of desk and viewer; the dock goes once the event that ends it is over."""
        self._dock.close_down()
        self._viewer.events.theme.disconnect(self._follow_theme)
        if self._window is not None:
            QTimer.singleShot(0, partial(_remove, self._window, self._dock))

    def _follow_theme(self) -> None:
        from napari.utils.theme import get_theme

        theme = get_theme(self._viewer.theme)
        self._dock.follow_theme(theme.text.as_hex(), theme.background.as_hex())


def _remove(window: Any, dock: PlayDock) -> None:
    """Take a dock out of a window, unless either is gone already."""
    try:
        window.remove_dock_widget(dock)
        dock.deleteLater()
    except (AttributeError, LookupError, RuntimeError):
        return
