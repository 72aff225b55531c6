"""Putting a widget into the viewer's window as a dock, and taking it out again."""

from contextlib import suppress
from typing import Any

from qtpy.QtCore import QTimer
from qtpy.QtWidgets import QDockWidget, QWidget


def dock_of(widget: QWidget) -> QDockWidget | None:
    """Return the dock that holds a widget; None where a person has closed it for good."""
    frame = widget.parentWidget()
    return frame if isinstance(frame, QDockWidget) else None


def put_in(window: Any, widget: QWidget, *, name: str, area: str) -> None:
    """Put a widget into the window unless it is there, and show it."""
    if dock_of(widget) is None:
        window.add_dock_widget(widget, name=name, area=area, add_vertical_stretch=False)
    frame = dock_of(widget)
    if frame is not None:
        frame.show()


def take_out_later(window: Any, widget: QWidget) -> None:
    """Take a widget out of the window once the event that asks for it is over, and delete it."""

    def take_out() -> None:
        # the window or the widget may be gone already
        with suppress(AttributeError, LookupError, RuntimeError):
            window.remove_dock_widget(widget)
        with suppress(RuntimeError):
            widget.deleteLater()

    QTimer.singleShot(0, take_out)
