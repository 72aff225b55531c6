"""The one dock: loops, scale, calipers, read, table, caution, status."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from qtpy.QtCore import QTimer
from qtpy.QtGui import QShowEvent
from qtpy.QtWidgets import (
    QLabel,
    QProgressBar,
    QSizePolicy,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from annot.errors import AnnotError, InputError
from annot.vocabulary import CAUTION, SCOPE_OF_INTERVAL
from napari_annot import dialogs, filing
from napari_annot.answering import Answerer
from napari_annot.autosave import Autosave, autosave_of, left_behind
from napari_annot.binding import binding_fault
from napari_annot.caliper_panel import CaliperPanel
from napari_annot.carrier import Carrier
from napari_annot.closing import ClosingGuard
from napari_annot.desk import Desk
from napari_annot.display_panel import DisplayPanel
from napari_annot.loops_panel import LoopsPanel
from napari_annot.read_panel import ReadPanel
from napari_annot.scale_entry import request_of
from napari_annot.scale_panel import ScalePanel
from napari_annot.stage import Stage
from napari_annot.table_panel import TablePanel
from napari_annot.tall_page import TallPage
from napari_annot.ties import Ties
from napari_annot.tools import OBJECT_TOOLS, Tool
from napari_annot.window_parts import WindowParts
from napari_annot.workers import ScaleFitter

READ_TAB = 3
REST_MS, LEAST_POINTS = 250, 10
LEFT_BEHIND = (
    "A window that is gone left unsaved work behind: take it up under Read, Take up unsaved work."
)


class MeasureDock(QWidget):
    """Shows what lies on the desk and passes on what a person asks for.

    Parameters
    ----------
    napari_viewer
        The viewer; napari hands it over because of the parameter's name.
    """

    def __init__(self, napari_viewer: Any) -> None:
        super().__init__()
        self.desk = Desk()
        self.fitter, self.answerer = ScaleFitter(self.desk), Answerer(self.desk)
        self.carrier, self.autosave = Carrier(self.desk), Autosave(self.desk)
        self._guard = ClosingGuard(self.may_close)
        self.stage = Stage(napari_viewer, self.desk)
        self.loops, self.scale, self.display = LoopsPanel(), ScalePanel(), DisplayPanel()
        self.calipers, self.reading, self.table = CaliperPanel(), ReadPanel(), TablePanel()
        self.headline, self.status = QLabel(), QLabel()
        self.progress, self.tabs, self.caution = QProgressBar(), QTabWidget(), QLabel(CAUTION)
        self.parts = WindowParts(self, napari_viewer, self.desk, self.stage)
        self.parts.bind_tools(self._arm, self.calipers.tools)
        workers = (self.fitter, self.answerer, self.carrier, self.autosave, self.parts)
        self._ties = Ties(self.desk, self.stage, workers)
        # by a plain object: a dying widget hears its own signal no more
        self.destroyed.connect(self._ties.cut)
        self._lay_out()
        self._connect_loops_and_scale()
        self._connect_calipers_and_read()
        self._rest, self._resting = self._make_rest(), self.desk.draft
        self.desk.changed.connect(self.refresh)
        fault = binding_fault()
        kept = "" if fault or not left_behind() else LEFT_BEHIND
        self.desk.say(fault or kept, fault=bool(fault or kept))
        self.reading.take_up.setVisible(bool(kept))
        self.refresh()

    # ---- what a person asks for, callable without a file dialog

    def open_paths(self, paths: list[Path]) -> None:
        """Open every loop below the paths; what cannot be opened is told in the status line."""

        def open_all() -> None:
            self.desk.say("")
            faults = filing.open_paths(self.desk, paths)
            if faults:
                more = f" ({len(faults) - 1} more files failed)" if len(faults) > 1 else ""
                self.desk.say(f"{faults[0]}{more}", fault=True)

        self._attempt(open_all)

    def turn_to(self, panel: QWidget) -> None:
        """Show the page of a panel."""
        pages = (self.scale, self.calipers, self.display, self.reading)
        self.tabs.setCurrentIndex(pages.index(panel))

    def make_scale(self) -> None:
        """Scale the loop on show as entered."""

        def make() -> None:
            trace = self.desk.traces.get(self.desk.shown or "")
            request = request_of(self.scale.entry(), trace)
            self.desk.say("")
            self.desk.ask_scale(request)

        self._attempt(make)

    def load_read(self, path: Path) -> None:
        """Load a read file with its loops."""

        def load() -> None:
            kept = autosave_of(path.resolve())
            given_up = self.autosave.wrote(kept)  # by this window, which has just been asked
            if kept.exists() and not given_up and dialogs.takes_up(self, kept):
                filing.take_up(self.desk, kept, path.resolve())
                self.desk.say(f"Took up unsaved work on {path.name}: save it.")
                return
            filing.load(self.desk, path)
            self.desk.say(f"Loaded {path.name}.")

        self._attempt(load)

    def save_read(self, path: Path) -> None:
        """Save the read."""

        def save() -> None:
            filing.save(self.desk, path)
            self.desk.say(f"Saved {path.name}.")

        self._attempt(save)

    def export_table(self, path: Path) -> None:
        """Write the table as CSV."""

        def export() -> None:
            rows = filing.export(self.desk, path)
            self.desk.say(f"Wrote {rows} row{'s' if rows != 1 else ''} to {path.name}.")

        self._attempt(export)

    def take_up_left_behind(self) -> None:
        """Take up unsaved work of a window that had no read file and is gone."""

        def take_up() -> None:
            kept = left_behind()
            if not kept:
                raise InputError("There is no unsaved work to take up.")
            filing.take_up(self.desk, kept[0], None)
            kept[0].unlink(missing_ok=True)
            self.desk.say("Took up unsaved work: state the reader and save it.")

        self._attempt(take_up)

    def may_close(self) -> bool:
        """Ask what becomes of unsaved work; False where the window is to stay."""
        if not self.desk.unsaved:
            return True
        answer = dialogs.before_closing(self)
        if answer == "save":
            if self.desk.read_file is None:
                self._ask_save()
            else:
                self.save_read(self.desk.read_file)
            return not self.desk.unsaved
        if answer == "discard":
            self.autosave.drop()
        return answer == "discard"

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802  # Qt's name
        """Watch over the window that the dock is shown in."""
        super().showEvent(event)
        self._guard.watch(self.window())

    def teardown(self) -> None:
        """Let go of viewer, desk and threads; also done when the dock is destroyed."""
        self._guard.let_go()
        self._ties.cut()

    # ---- showing

    def refresh(self) -> None:
        """Show what lies on the desk."""
        state = self.desk.state()
        for panel in (
            self.loops,
            self.display,
            self.scale,
            self.calipers,
            self.reading,
            self.table,
        ):
            panel.show_state(state)
        self.headline.setText(state.scale.headline)
        self.tabs.setTabText(READ_TAB, "Read (unsaved)" if state.unsaved else "Read")
        self.progress.setVisible(state.scale.state == "fitting")
        self.status.setText(f"⚠ {state.message}" if state.message_is_fault else state.message)
        self.parts.keys.follow(state)
        self._wait_for_rest()

    def _attempt(self, action: Callable[[], object]) -> None:
        """Run what a person asked for; a refusal is one sentence in the status line."""
        try:
            action()
        except AnnotError as fault:
            self.desk.say(fault.message, fault=True)
        self.desk.changed.emit()

    # ---- putting together

    def _lay_out(self) -> None:
        self.setMinimumWidth(380)
        self.setMaximumWidth(440)  # the picture needs the room more
        # over the viewer's own style, which has smaller letters in tables and fields
        self.setStyleSheet(f"* {{ font-size: {LEAST_POINTS}pt; }}")
        bold = self.headline.font()
        bold.setBold(True)
        self.headline.setFont(bold)
        for label in (self.headline, self.status, self.caution):
            label.setWordWrap(True)
        self.caution.setToolTip(SCOPE_OF_INTERVAL)
        self.progress.setRange(0, 0)
        self.progress.setFixedHeight(6)
        self.progress.setTextVisible(False)
        for page, title in (
            (self.scale, "Scale"),
            (self.calipers, "Calipers"),
            (self.display, "Display"),
            (self.reading, "Read"),
        ):
            self.tabs.addTab(TallPage(page), title)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 6, 8, 6)
        layout.setSpacing(6)
        for part in (self.loops, self.headline, self.progress, self.tabs):
            layout.addWidget(part)
        layout.addWidget(self.table, 1)
        layout.addWidget(self.status)
        layout.addWidget(self.caution)
        self.tabs.currentChanged.connect(self._fit_tabs)
        self._fit_tabs()

    def _fit_tabs(self) -> None:
        """Give the tabs the height of the page on show and the table the rest."""
        fixed, ignored = QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored
        for index in range(self.tabs.count()):
            page = self.tabs.widget(index)
            if page is not None:
                here = index == self.tabs.currentIndex()
                page.setSizePolicy(ignored, fixed if here else ignored)
        self.tabs.setSizePolicy(fixed, QSizePolicy.Policy.Maximum)

    def _connect_loops_and_scale(self) -> None:
        self.loops.file_wanted.connect(self._ask_files)
        self.loops.folder_wanted.connect(self._ask_folder)
        self.loops.chosen.connect(self.desk.show)
        self.display.chosen.connect(lambda choice: self._attempt(lambda: self.desk.show_as(choice)))
        self.scale.trace_wanted.connect(lambda kind: self._arm(OBJECT_TOOLS[kind]))
        self.scale.traces_dropped.connect(self.desk.drop_traces)
        self.scale.scale_wanted.connect(self.make_scale)
        self.scale.scale_removed.connect(lambda: self._attempt(lambda: self.desk.ask_scale(None)))
        self.scale.prefilled.connect(self._tell)
        self.desk.trace_drawn.connect(self._on_traced)
        for panel in (self.scale, self.calipers, self.reading):
            panel.refused.connect(self._refuse)

    def _connect_calipers_and_read(self) -> None:
        self.calipers.armed.connect(self._arm)
        self.calipers.undo_wanted.connect(self.desk.undo)
        self.calipers.redo_wanted.connect(self.desk.redo)
        self.calipers.delete_wanted.connect(self.desk.delete_selected)
        self.calipers.placing_stated.connect(self.desk.place_ends)
        self.calipers.tilt_stated.connect(lambda tilt: self._revise(tilt_deg=tilt))
        self.calipers.beat_stated.connect(lambda beat: self._revise(beat=beat))
        self.calipers.moment_stated.connect(lambda moment: self._revise(moment=moment))
        self.calipers.note_stated.connect(lambda note: self._revise(note=note))
        self._connect_help()
        self.reading.reader_stated.connect(self.desk.state_reader)
        self.reading.conditions_stated.connect(
            lambda stated: self._attempt(lambda: self.desk.state_conditions(stated))
        )
        self.reading.plane_stated.connect(
            lambda plane: self._attempt(lambda: self.desk.state_plane(plane))
        )
        self.reading.take_up.clicked.connect(self._take_up)
        self.reading.load_wanted.connect(self._ask_read)
        self.reading.save_wanted.connect(self._ask_save)
        self.reading.export_wanted.connect(self._ask_export)
        self.table.turned_to.connect(self.desk.go_to)
        self.table.delete_pressed.connect(self.desk.delete_selected)
        self.table.model.repeat_stated.connect(
            lambda key, repeat: self.desk.revise(key, repeat=repeat)
        )

    def _connect_help(self) -> None:
        row, desk = self.calipers.help, self.desk
        for wish, done in (
            (row.propose_wanted, desk.propose_ends),
            (row.accepted, desk.accept_ends),
            (row.left, desk.leave_ends),
            (row.carry_wanted, desk.carry),
            (row.stop_wanted, desk.stop_carrying),
            (row.confirmed, desk.confirm),
            (row.all_confirmed, desk.confirm_all),
        ):
            wish.connect(partial(self._attempt, done))

    def _make_rest(self) -> QTimer:
        """Return what tells that a line being drawn has not moved for a moment."""
        rest = QTimer(self)
        rest.setSingleShot(True)
        rest.setInterval(REST_MS)
        rest.timeout.connect(self.desk.rest)
        return rest

    def _wait_for_rest(self) -> None:
        if self.desk.draft is None:
            self._rest.stop()
        elif self.desk.draft is not self._resting:
            self._rest.start()
        self._resting = self.desk.draft

    def _arm(self, tool: Tool | None) -> None:
        self._attempt(lambda: self.desk.arm(tool))

    def _refuse(self, sentence: str) -> None:
        self.desk.say(sentence, fault=True)
        self.desk.changed.emit()

    def _tell(self, sentence: str) -> None:
        self.desk.say(f"{sentence[:1].upper()}{sentence[1:]}.")
        self.desk.changed.emit()

    def _revise(self, **facts: object) -> None:
        if self.desk.selected is not None:
            key = self.desk.selected
            self._attempt(lambda: self.desk.revise(key, **facts))

    def _on_traced(self) -> None:
        """Fit at once where the size is stated; else say what is missing."""
        if self.scale.size_mm_or_fr.text():
            self.make_scale()
        else:
            self.desk.say("Traced. State the size, then make the scale.")

    # ---- file dialogs

    def _ask_files(self) -> None:
        paths = dialogs.ask_loops(self)
        if paths:
            self.open_paths(paths)

    def _ask_folder(self) -> None:
        paths = dialogs.ask_folder(self)
        if paths:
            self.open_paths(paths)

    def _ask_read(self) -> None:
        if self.desk.unsaved and not dialogs.may_drop(self):
            return
        path = dialogs.ask_read(self)
        if path:
            self.load_read(path)

    def _take_up(self) -> None:
        if not self.desk.unsaved or dialogs.may_drop(self):
            self.take_up_left_behind()
            self.reading.take_up.setVisible(bool(left_behind()))

    def _ask_save(self) -> None:
        path = dialogs.ask_new_read(self, self.desk.read_file)
        if path:
            self.save_read(path)

    def _ask_export(self) -> None:
        path = dialogs.ask_new_table(self)
        if path:
            self.export_table(path)
