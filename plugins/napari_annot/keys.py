"""The dock's keys: actions of the dock, so that they work from the canvas too."""

from collections.abc import Callable
from functools import partial

from qtpy.QtCore import Qt
from qtpy.QtGui import QAction, QKeySequence
from qtpy.QtWidgets import QWidget

from napari_annot.screen_state import ScreenState


class Keys:
    """Keys that are ours only while they mean something, and serve others otherwise."""

    def __init__(self, owner: QWidget) -> None:
        self._owner = owner
        self._actions: dict[str, QAction] = {}

    def add(self, name: str, key: str, done: Callable[[], object]) -> None:
        """Let a key do something anywhere in the window."""
        action = QAction(self._owner)
        action.setShortcut(QKeySequence(key))
        action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
        action.triggered.connect(partial(_do, done))
        self._owner.addAction(action)
        self._actions[name] = action

    def follow(self, state: ScreenState) -> None:
        """Take keys or give them back."""
        self._actions["undo"].setEnabled(state.can_undo)
        self._actions["redo"].setEnabled(state.can_redo)
        self._actions["cancel"].setEnabled(state.tool is not None)
        self._actions["finish"].setEnabled(state.drawing_path)


def _do(done: Callable[[], object], *_: object) -> None:
    """Do it, whatever Qt hands along."""
    done()
