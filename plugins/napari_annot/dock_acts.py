"""What a person asks the dock for: files, scales, reads, tables; callable without a dialog."""

from collections.abc import Callable
from pathlib import Path

from qtpy.QtWidgets import QWidget

from annot.errors import AnnotError, InputError
from napari_annot import dialogs, filing
from napari_annot.autosave import Autosave, autosave_of, left_behind
from napari_annot.desk import Desk
from napari_annot.read_panel import ReadPanel
from napari_annot.scale_entry import request_of
from napari_annot.scale_panel import ScalePanel
from napari_annot.seating import Seating
from napari_annot.tools import Tool
from napari_annot.visible import SEATED


class DockActs(QWidget):
    """The acts behind the dock's buttons; a refusal is one sentence in the status line."""

    desk: Desk
    autosave: Autosave
    scale: ScalePanel
    reading: ReadPanel
    seating: Seating | None

    def open_paths(self, paths: list[Path]) -> None:
        """Open every loop below the paths; what cannot be opened is told in the status line."""

        def open_all() -> None:
            self.desk.say("")
            faults = filing.open_paths(self.desk, paths)
            if faults:
                more = f" ({len(faults) - 1} more files failed)" if len(faults) > 1 else ""
                self.desk.say(f"{faults[0]}{more}", fault=True)

        self.attempt_openly(open_all)

    def make_scale(self) -> None:
        """Scale the loop on show as entered."""

        def make() -> None:
            trace = self.desk.traces.get(self.desk.shown or "")
            request = request_of(self.scale.entry(), trace)
            self.desk.say("")
            self.desk.ask_scale(request)

        self.attempt(make)

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

        self.attempt_openly(load)

    def save_read(self, path: Path) -> None:
        """Save the read."""

        def save() -> None:
            filing.save(self.desk, path)
            self.desk.say(f"Saved {path.name}.")

        self.attempt_openly(save)

    def export_table(self, path: Path) -> None:
        """Write the table as CSV."""

        def export() -> None:
            rows = filing.export(self.desk, path)
            self.desk.say(f"Wrote {rows} row{'s' if rows != 1 else ''} to {path.name}.")

        self.attempt_openly(export)

    def take_up_left_behind(self) -> None:
        """Take up unsaved work of a window that had no read file and is gone."""

        def take_up() -> None:
            kept = left_behind()
            if not kept:
                raise InputError("There is no unsaved work to take up.")
            filing.take_up(self.desk, kept[0], None)
            kept[0].unlink(missing_ok=True)
            self.desk.say("Took up unsaved work: state the reader and save it.")

        self.attempt_openly(take_up)

    def may_close(self) -> bool:
        """Ask what becomes of unsaved work; False where the window is to stay."""
        if self.seating is not None:
            self.attempt(self.seating.leave)
        if not self.desk.unsaved:
            return True
        answer = dialogs.before_closing(self)
        if answer == "save":
            if self.seating is not None:
                self.attempt(self.seating.leave)
            elif self.desk.read_file is None:
                self.ask_save()
            else:
                self.save_read(self.desk.read_file)
            return not self.desk.unsaved
        if answer == "discard":
            self.autosave.drop()
        return answer == "discard"

    def attempt(self, action: Callable[[], object]) -> None:
        """Run what a person asked for; a refusal is one sentence in the status line."""
        try:
            action()
        except AnnotError as fault:
            self.desk.say(fault.message, fault=True)
        self.desk.changed.emit()

    def attempt_openly(self, action: Callable[[], object]) -> None:
        """Run what a person asked for, unless they sit in a blinded seat."""

        def refuse() -> None:
            raise InputError(SEATED)

        self.attempt(action if self.seating is None else refuse)

    def arm(self, tool: Tool | None) -> None:
        """Take a tool in hand."""
        self.attempt(lambda: self.desk.arm(tool))

    def refuse(self, sentence: str) -> None:
        """Say why something is not done."""
        self.desk.say(sentence, fault=True)
        self.desk.changed.emit()

    def tell(self, sentence: str) -> None:
        """Say something that is no refusal."""
        self.desk.say(f"{sentence[:1].upper()}{sentence[1:]}.")
        self.desk.changed.emit()

    def revise(self, **facts: object) -> None:
        """Change what the selected caliper states."""
        if self.desk.selected is not None:
            key = self.desk.selected
            self.attempt(lambda: self.desk.revise(key, **facts))

    def on_traced(self) -> None:
        """Fit at once where the size is stated; else say what is missing."""
        if self.scale.size_mm_or_fr.text():
            self.make_scale()
        else:
            self.desk.say("Traced. State the size, then make the scale.")

    # ---- file dialogs

    def ask_files(self) -> None:
        """Ask which loops to open."""
        paths = dialogs.ask_loops(self)
        if paths:
            self.open_paths(paths)

    def ask_folder(self) -> None:
        """Ask which folder to open."""
        paths = dialogs.ask_folder(self)
        if paths:
            self.open_paths(paths)

    def ask_read(self) -> None:
        """Ask which read to load; before work is lost."""
        if self.desk.unsaved and not dialogs.may_drop(self):
            return
        path = dialogs.ask_read(self)
        if path:
            self.load_read(path)

    def take_up(self) -> None:
        """Take up what a window left behind; ask before work is lost."""
        if not self.desk.unsaved or dialogs.may_drop(self):
            self.take_up_left_behind()
            self.reading.take_up.setVisible(bool(left_behind()))

    def ask_save(self) -> None:
        """Ask where to save the read."""
        path = dialogs.ask_new_read(self, self.desk.read_file)
        if path:
            self.save_read(path)

    def ask_export(self) -> None:
        """Ask where to write the table."""
        path = dialogs.ask_new_table(self)
        if path:
            self.export_table(path)

    def ask_chart(self) -> None:
        """Ask which size chart to use."""
        path = dialogs.ask_chart(self)
        if path:
            self.attempt_openly(lambda: self.desk.set_chart(path))

    def state_protocol(self, name: str) -> None:
        """Read by another protocol."""
        kept = self.desk.read_file
        beside = None if kept is None else kept.parent
        self.attempt_openly(lambda: self.desk.state_protocol(name, beside=beside))

    def ask_protocol(self) -> None:
        """Ask for a protocol of one's own; where none is chosen the present one stays."""
        path = dialogs.ask_protocol(self)
        if path:
            self.state_protocol(str(path))
        else:
            self.desk.changed.emit()
