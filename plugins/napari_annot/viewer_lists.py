"""The viewer's own list of layers and its controls: put aside until somebody asks for them."""

from qtpy.QtWidgets import QDockWidget, QWidget

NAMES = ("layer list", "layer controls")


def viewer_lists(inside: QWidget) -> tuple[QDockWidget, ...]:
    """Return the viewer's own docks in the window that a widget stands in."""
    docks = inside.window().findChildren(QDockWidget)
    return tuple(one for one in docks if one.objectName() in NAMES or one.windowTitle() in NAMES)


def hide_lists(inside: QWidget) -> None:
    """Leave their room to the picture."""
    for one in viewer_lists(inside):
        one.hide()


def show_or_hide_lists(inside: QWidget) -> None:
    """Bring them back, or put them aside again."""
    found = viewer_lists(inside)
    shown = any(one.isVisible() for one in found)
    for one in found:
        one.setVisible(not shown)
