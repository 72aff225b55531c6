"""Sitting down: the window of a blinded reader, with all that is off in it."""

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtWidgets import QMainWindow, QVBoxLayout

from napari_annot import dialogs
from napari_annot.follows_state import Follows
from napari_annot.seat_panel import SeatPanel
from napari_annot.seating import Seating
from napari_annot.visible import Visible

if TYPE_CHECKING:
    from napari_annot.dock import MeasureDock


def take_seat(dock: "MeasureDock", folder: Path, reader: str) -> None:
    """Turn a dock into the seat of a package's reader and open the first case without an answer.

    Raises
    ------
    InputError
        If the folder is no package, or somebody else's; then the dock stays as it was.
    """
    seating = Seating(dock.desk, folder, reader)
    panel = SeatPanel(reader)
    dock.seating, dock.seat = seating, panel
    panel.case_wanted.connect(lambda code: _open(dock, seating, code))
    panel.sign_wanted.connect(lambda: _sign(dock, seating))
    panel.unreadable_wanted.connect(lambda: _say_unreadable(dock, seating))
    layout = dock.layout()
    if isinstance(layout, QVBoxLayout):
        layout.insertWidget(0, panel)
    dock.loops.hide()
    _limit(dock, seating.visible)
    _open(dock, seating, seating.next_open())


def close_menus(dock: "MeasureDock") -> None:
    """Take the viewer's own menus away: they open files, and show what is hidden here."""
    window = dock.window()
    if isinstance(window, QMainWindow):
        menus = window.menuBar()
        menus.setEnabled(False)
        menus.hide()


def shown_follows(follows: Follows, visible: Visible) -> Follows:
    """Return what a reader may see of what follows from the grid."""
    return replace(
        follows,
        sections=follows.sections if visible.cross_section else (),
        sizes=follows.sizes if visible.size_rows else (),
        owed=visible.remarks(follows.owed) if visible.millimetres else (),
    )


def _limit(dock: "MeasureDock", visible: Visible) -> None:
    """Take away what opens, saves or exports, and what the protocol hides."""
    dock.reading.limit()
    dock.sheet.follows.limit(visible)
    shown = {"ellipse": visible.cross_section, "side by side": visible.other_reads}
    for pane in dock.bench.panes:
        dock.bench.tabs.setTabVisible(dock.bench.tabs.indexOf(pane), shown.get(pane.kind, True))
    frame = dock.bench.parentWidget()
    if frame is not None and not visible.millimetres:
        frame.hide()
    close_menus(dock)


def _open(dock: "MeasureDock", seating: Seating, code: str) -> None:
    takes_up = partial(dialogs.takes_up, dock)
    dock.attempt(lambda: seating.open_case(code, takes_up))


def _sign(dock: "MeasureDock", seating: Seating) -> None:
    if dialogs.signs(dock):
        dock.attempt(seating.sign)


def _say_unreadable(dock: "MeasureDock", seating: Seating) -> None:
    reason = dialogs.ask_why_unreadable(dock)
    if reason is not None and reason.strip():
        dock.attempt(lambda: seating.sign(unreadable=reason))
    elif reason is not None:
        dock.refuse("State why this case is not readable: the reason is kept.")
