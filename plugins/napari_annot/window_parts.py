"""What the window has beside the dock: keys, their list, playback under the picture."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from qtpy.QtWidgets import QAbstractButton, QWidget

from napari_annot.caliper_panel import PALETTE
from napari_annot.desk import Desk
from napari_annot.display_panel import DisplayPanel
from napari_annot.key_list import KeyList
from napari_annot.keys import Keys
from napari_annot.play_dock import PlayDock
from napari_annot.screen_state import ScreenState
from napari_annot.side_dock import SidePlace
from napari_annot.stage import Stage
from napari_annot.tools import Tool
from napari_annot.under_picture import UnderPicture
from napari_annot.viewer_lists import show_or_hide_lists


class WindowParts:
    """Made with the dock, gone with it.

    Parameters
    ----------
    owner
        The dock, whose window the keys work in.
    """

    def __init__(self, owner: QWidget, viewer: Any, desk: Desk, stage: Stage) -> None:
        self._owner, self._desk, self._stage = owner, desk, stage
        self.keys = Keys(owner)
        self.key_list = KeyList(self.keys, owner)
        self.play = PlayDock(desk, self.keys)
        self._under = UnderPicture(viewer, self.play)
        self.side = SidePlace(viewer, desk)
        self.play.playback.playing.connect(stage.hold_caption)
        self._bind()

    def close(self) -> None:
        """Stop playing; the docks under and beside the picture go."""
        self._under.close()
        self.side.close()

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

    def bind_display(self, panel: DisplayPanel) -> None:
        """Let the panel of looking turn the same knobs as the keys, and follow them."""
        looks = self._stage.looks
        panel.window_chosen.connect(looks.choose)
        panel.gamma_turned.connect(looks.turn_gamma)
        panel.reset_wanted.connect(looks.reset)
        for name, widget in (
            ("next_window", panel.windows),
            ("gamma_up", panel.darker),
            ("gamma_down", panel.brighter),
            ("as_filed", panel.as_filed),
            ("swap_greys", panel.swap),
        ):
            widget.setToolTip(self.keys.hint(name, widget.toolTip()))

        def show() -> None:
            look = looks.look
            panel.show_look(None if look is None else look.name, looks.words())

        self._desk.changed.connect(show)

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
        keys.bind("viewer_lists", partial(show_or_hide_lists, self._owner))
        keys.bind("playback_dock", self._under.show_or_hide)
        looks, side = self._stage.looks, self.side
        for name, done in (
            ("side_by_side", side.show_or_hide),
            ("change_over", side.change_over),
            ("other_link", side.other_link),
            ("next_window", looks.next_window),
            ("last_window", partial(looks.next_window, -1)),
            ("swap_greys", looks.swap_greys),
            ("gamma_up", partial(looks.turn_gamma, 1)),
            ("gamma_down", partial(looks.turn_gamma, -1)),
            ("as_filed", looks.reset),
            ("zoom_in", partial(looks.zoom, 1)),
            ("zoom_out", partial(looks.zoom, -1)),
            ("zoom_fit", looks.fit),
            ("zoom_pixels", looks.zoom_to_pixels),
        ):
            keys.bind(name, done, when=_has_loop)


def _has_loop(state: ScreenState) -> bool:
    return state.shown is not None
