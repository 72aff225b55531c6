"""The window does not close over unsaved work without asking."""

from collections.abc import Callable
from contextlib import suppress

from qtpy.QtCore import QEvent, QObject
from qtpy.QtWidgets import QWidget


class ClosingGuard(QObject):
    """Asks before the window that holds the dock closes.

    Parameters
    ----------
    may_close : callable
        Asks a person if need be; False keeps the window open.
    """

    def __init__(self, may_close: Callable[[], bool]) -> None:
        super().__init__()
        self._may_close = may_close
        self._window: QWidget | None = None

    def watch(self, window: QWidget) -> None:
        """Watch a window, in place of the one before."""
        self.let_go()
        self._window = window
        window.installEventFilter(self)

    def let_go(self) -> None:
        """Watch no window any more."""
        window, self._window = self._window, None
        if window is not None:
            # a window that has closed may be gone, and its filters with it
            with suppress(RuntimeError):
                window.removeEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  # Qt's name
        """Hold a closing back until a person has said what becomes of unsaved work."""
        closes = watched is self._window and event.type() == QEvent.Type.Close
        if closes and not self._may_close():
            event.ignore()
            return True
        return False
