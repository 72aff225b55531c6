"""Reading along the sheet: which cell is asked for, what follows from the read, the size chart."""

from abc import abstractmethod
from dataclasses import dataclass, replace
from pathlib import Path

from psygnal import Signal

from annot.errors import InputError
from annot.measurement import Caliper
from annot.sizing import SizeChart
from annot.tasks.findings import Findings
from annot.tasks.sizes import load_chart
from napari_annot import read_edits as edits
from napari_annot.assistance import Assistance
from napari_annot.screen_state import Facts
from napari_annot.sheet import sheet_of
from napari_annot.sheet_state import Cell, SheetState
from napari_annot.tools import CALIPER_TOOLS, Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The reading that a cell of the sheet was clicked for."""

    quantity: str
    file: str
    repeat: int


class Sheetwork(Assistance):
    """The desk's part that reads cell by cell."""

    frame_wanted = Signal(int)

    asked: Asked | None
    findings: Findings | None
    findings_current: bool
    chart: SizeChart | None
    chart_name: str
    shown: str | None
    tool: Tool | None
    frame: int
    message: str
    suggestions: dict[str, int]
    _sheet: tuple[object, SheetState] | None

    @abstractmethod
    def facts(self) -> Facts:
        """Return a snapshot of the desk."""

    @abstractmethod
    def show(self, file: str | None) -> None:
        """Turn to a loop."""

    @abstractmethod
    def arm(self, tool: Tool | None) -> None:
        """Take a tool in hand."""

    @abstractmethod
    def go_to(self, key: str) -> None:
        """Turn to a caliper."""

    def sheet(self) -> SheetState:
        """Return the sheet as it stands, worked out once for all who ask."""
        facts = self.facts()
        seen = (
            facts.read,
            facts.measured,
            tuple(map(id, facts.standings.values())),
            dict(facts.traces),
            facts.shown,
            facts.selected,
            facts.seat,
            self.findings,
        )
        if self._sheet is None or self._sheet[0] != seen:
            self._sheet = (seen, sheet_of(facts, self.findings))
        return self._sheet[1]

    def read_cell(self, quantity: str, view: int) -> None:
        """Turn to the value of a cell, or take its caliper in hand where it is to be read next."""
        sheet = self.sheet()
        cell = sheet.cell(quantity, view)
        if cell.filled and cell is not sheet.next_cell:
            self.go_to(cell.key)
        else:
            self.ask_for(cell)

    def read_repeat(self, quantity: str, view: int, repeat: int) -> None:
        """Turn to one repeat of a cell, or take its caliper in hand for it."""
        cell = self.sheet().cell(quantity, view)
        mark = next((one for one in cell.marks if one.repeat == repeat), None)
        if mark is not None and mark.read:
            self.go_to(mark.key)
        else:
            self.ask_for(cell, repeat=repeat)

    def read_next(self) -> None:
        """Take the caliper of the next cell in hand.

        Raises
        ------
        InputError
            If nothing is owed in the views at hand.
        """
        cell = self.sheet().next_cell
        if cell is None:
            raise InputError(
                "Nothing is owed in the views at hand: choose a cell to read it again."
            )
        self.ask_for(cell)

    def ask_for(self, cell: Cell, *, repeat: int | None = None) -> None:
        """Bring the right loop up at the suggested frame, the cell's caliper in hand.

        Raises
        ------
        InputError
            If the quantity is not drawn but follows from landmarks.
        """
        if not cell.drawable:
            raise InputError(f"{cell.title} follows from landmarks: place those instead.")
        column = self.sheet().columns[cell.view]
        fresh = self.shown != column.file
        self.show(column.file)
        frame, why = self._suggested(column.file, fresh=fresh)
        if frame is not None:
            self.frame_wanted.emit(frame)
        tool = next(one for one in CALIPER_TOOLS if one.name == cell.quantity)
        self.arm(tool)
        if self.tool is not tool:
            return
        self.asked = Asked(
            quantity=cell.quantity, file=column.file, repeat=repeat or cell.next_repeat
        )
        if why:
            self.say(f"{self.message} {why}")

    def suggest(self, file: str, frame: int | None) -> None:
        """Keep which frame of a loop is suggested as the one to read on."""
        if frame is not None:
            self.suggestions[file] = frame

    def _suggested(self, file: str, *, fresh: bool) -> tuple[int | None, str]:
        """Return the frame to turn to and why; None leaves the one that a person stands on.

        A loop is read where it was read last; one that nobody has read yet, and nobody has turned
        in, on the frame that is suggested.
        """
        drawn = [one for one in edits.loop_of(self.read, file).calipers if one.origin != "tracked"]
        if drawn:
            return (drawn[-1].frame.frame if fresh else None), ""
        frame = self.suggestions.get(file)
        if frame is None or (not fresh and self.frame != 0):
            return None, ""
        return frame, f"Frame {frame} is suggested as best filled: look yourself."

    def as_asked(self, caliper: Caliper, file: str) -> Caliper:
        """Return a drawn caliper as the repeat that its cell was clicked for."""
        asked, self.asked = self.asked, None
        if asked is None or (asked.quantity, asked.file) != (caliper.measurand.name, file):
            return caliper
        return replace(caliper, repeat=asked.repeat)

    def set_chart(self, path: Path) -> None:
        """Take the user's own size chart.

        Raises
        ------
        InputError
            If the file is no chart.
        """
        self.chart, self.chart_name = load_chart(path), path.name
        self.changed.emit()
