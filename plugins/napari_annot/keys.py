"""The dock's keys: actions of the dock, so that they work from the canvas too."""

from collections.abc import Callable
from functools import partial

from qtpy.QtCore import Qt
from qtpy.QtGui import QAction, QKeySequence
from qtpy.QtWidgets import QWidget

from napari_annot.actions import BY_NAME, Action
from napari_annot.screen_state import ScreenState

Meant = Callable[[ScreenState], bool]


class Keys:
    """Keys that are ours only while they mean something, and serve others otherwise.

    Parameters
    ----------
    owner
        The widget whose window listens.
    """

    def __init__(self, owner: QWidget) -> None:
        self._owner = owner
        self._actions: dict[str, QAction] = {}
        self._meant: dict[str, Meant] = {}

    def bind(self, name: str, done: Callable[[], object], *, when: Meant | None = None) -> None:
        """Let an action of the list do something anywhere in the window, while it means anything.

        Raises
        ------
        KeyError
            If the list has no such action.
        """
        listed = BY_NAME[name]
        action = QAction(listed.words, self._owner)
        action.setShortcut(QKeySequence(listed.key))
        action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
        action.setAutoRepeat(listed.repeats)
        action.triggered.connect(partial(_do, done))
        self._owner.addAction(action)
        self._actions[name] = action
        if when is not None:
            self._meant[name] = when

    @property
    def bound(self) -> tuple[Action, ...]:
        """What has a key in this window, in the list's order."""
        return tuple(one for name, one in BY_NAME.items() if name in self._actions)

    def can(self, name: str) -> bool:
        """Tell whether an action means something now."""
        return name in self._actions and self._actions[name].isEnabled()

    def do(self, name: str) -> None:
        """Do what a key would do."""
        if self.can(name):
            self._actions[name].trigger()

    def follow(self, state: ScreenState) -> None:
        """Take keys or give them back."""
        for name, meant in self._meant.items():
            self._actions[name].setEnabled(meant(state))

    def hint(self, name: str, words: str = "") -> str:
        """Return a tooltip that ends with the action's key."""
        listed = BY_NAME[name]
        native = QKeySequence(listed.key).toString(QKeySequence.SequenceFormat.NativeText)
        return f"{words or listed.words}\nKey: {native}"


def _do(done: Callable[[], object], *_: object) -> None:
    """Do it, whatever Qt hands along."""
    done()
