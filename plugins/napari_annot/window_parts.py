"""What the window has beside the dock: keys, their list, playback under the picture."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from qtpy.QtWidgets import QAbstractButton, QWidget

from napari_annot.caliper_panel import PALETTE
from napari_annot.desk import Desk
from napari_annot.key_list import KeyList
from napari_annot.keys import Keys
from napari_annot.play_dock import PlayDock
from napari_annot.stage import Stage
from napari_annot.tools import Tool
from napari_annot.under_picture import UnderPicture


class WindowParts:
    """Made with the dock, gone with it.

    Parameters
    ----------
    owner
        The dock, whose window the keys work in.
    """

    def __init__(self, owner: QWidget, viewer: Any, desk: Desk, stage: Stage) -> None:
        self._desk, self._stage = desk, stage
        self.keys = Keys(owner)
        self.key_list = KeyList(self.keys, owner)
        self.play = PlayDock(desk, self.keys)
        self._under = UnderPicture(viewer, self.play)
        self.play.playback.playing.connect(stage.hold_caption)
        self._bind()

    def close(self) -> None:
        """Stop playing; the dock under the picture goes."""
        self._under.close()

    def settle(self, window: QWidget, below: QWidget) -> None:
        """Put playback between the picture and what stands below it."""
        self._under.settle(window, below)

    def bind_tools(
        self, arm: Callable[[Tool], object], buttons: Mapping[str, QAbstractButton]
    ) -> None:
        """Give each tool its key, and its button the words that tell it."""
        for tool in PALETTE:
            self.keys.bind(tool.name, partial(arm, tool))
            button = buttons[tool.name]
            button.setToolTip(self.keys.hint(tool.name, button.toolTip()))

    def bind_sheet(self, read_next: Callable[[], object], button: QAbstractButton) -> None:
        """Give the sheet's own acts their keys."""
        self.keys.bind("next", read_next)
        button.setToolTip(self.keys.hint("next"))

    def _bind(self) -> None:
        desk, pen, keys = self._desk, self._stage.mouse.pen, self.keys
        keys.bind("undo", desk.undo, when=lambda state: state.can_undo)
        keys.bind("redo", desk.redo, when=lambda state: state.can_redo)
        keys.bind("cancel", pen.cancel, when=lambda state: state.tool is not None)
        keys.bind("finish", pen.end_path, when=lambda state: state.drawing_path)
        keys.bind("key_list", self.key_list.open_list)
