"""The measurements as a Qt table model: words for the eye, values for sorting."""

from collections.abc import Callable
from typing import Any

from qtpy.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from qtpy.QtGui import QColor, QPixmap

from napari_annot.screen_state import Row
from napari_annot.wording import (
    PROVISIONAL,
    PROVISIONAL_SIGN,
    UNCONFIRMED,
    UNCONFIRMED_SIGN,
    frame_words,
    joined,
)

Index = QModelIndex | QPersistentModelIndex
Role = Qt.ItemDataRole
HEADS = ("Quantity, frame", "View", "Value ± u, 95 %", "Rep.", "!")
TIPS = (
    "what is measured; # the loop's number in the list; frame from 0 (from 1, as DICOM counts)",
    "positioner angles for X-ray, stated plane angle for echo",
    "best estimate ± standard uncertainty; below it the 95 % coverage interval in the same unit",
    "which reading of the same thing; double click to change",
    "number of warnings; point at it to read them",
)
# what rows are ordered by and searched in: values in their own order, not the words for them
SORT_ROLE, FILTER_ROLE = Role.UserRole + 1, Role.UserRole + 2
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
QUANTITY, VIEW, VALUE, REPEAT, WARNINGS = range(len(HEADS))


class MeasurementTable(QAbstractTableModel):
    """Rows as the state has them; only the repeat can be changed here."""

    repeat_stated = Signal(str, int)

    def __init__(self) -> None:
        super().__init__()
        self._rows: tuple[Row, ...] = ()

    def show(self, rows: tuple[Row, ...]) -> bool:
        """Show these rows, resetting only where rows came or went; tell whether any changed."""
        if rows == self._rows:
            return False
        if [row.key for row in rows] == [row.key for row in self._rows]:
            self._rows = rows
            self.dataChanged.emit(self.index(0, 0), self.index(len(rows) - 1, len(HEADS) - 1))
            return True
        self.beginResetModel()
        self._rows = rows
        self.endResetModel()
        return True

    def key_at(self, row: int) -> str:
        """Return the caliper's key of a row."""
        return self._rows[row].key

    def row_of(self, key: str | None) -> int | None:
        """Return where a caliper stands."""
        return next((at for at, row in enumerate(self._rows) if row.key == key), None)

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: N802, B008  # Qt's form
        """Return the number of rows."""
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: N802, B008  # Qt's form
        """Return the number of columns."""
        return 0 if parent.isValid() else len(HEADS)

    def headerData(  # noqa: N802  # Qt's name
        self, section: int, orientation: Qt.Orientation, role: int = Role.DisplayRole
    ) -> Any:
        """Return a column's head or what it means."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Role.ToolTipRole:
            return TIPS[section]
        return HEADS[section] if role == Role.DisplayRole else None

    def data(self, index: Index, role: int = Role.DisplayRole) -> Any:
        """Return what a cell shows."""
        row, column = self._rows[index.row()], index.column()
        shows: dict[int, Callable[[], Any]] = {
            Role.DisplayRole: lambda: _text(row, column),
            Role.EditRole: lambda: row.repeat,
            Role.ToolTipRole: lambda: _tip(row, column),
            Role.DecorationRole: lambda: _patch(row.colour) if column == QUANTITY else None,
            Role.TextAlignmentRole: lambda: RIGHT if column >= VALUE else None,
            SORT_ROLE: lambda: _order(row, column),
            FILTER_ROLE: lambda: _searched(row),
        }
        show = shows.get(role)
        return None if show is None else show()

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Allow the repeat to be changed."""
        flags = super().flags(index)
        return flags | Qt.ItemFlag.ItemIsEditable if index.column() == REPEAT else flags

    def setData(self, index: Index, value: Any, role: int = Role.EditRole) -> bool:  # noqa: N802  # Qt's
        """Ask for another repeat number; the desk decides and answers with new rows."""
        if role != Role.EditRole or index.column() != REPEAT:
            return False
        if not str(value).strip().isdigit() or int(value) < 1:
            return False
        self.repeat_stated.emit(self._rows[index.row()].key, int(value))
        return True


def _text(row: Row, column: int) -> str:
    return (
        "\n".join(quantity_lines(row)),
        row.view.replace("° ", "°\n"),
        f"{PROVISIONAL_SIGN if row.provisional else ''}{row.value}"
        f"{'' if row.scaled else ' ⚠'}\n{row.interval}",
        str(row.repeat),
        str(len(row.warnings)) if row.warnings else "",
    )[column]


def _searched(row: Row) -> str:
    return " ".join(_text(row, column) for column in range(len(HEADS)))


def _order(row: Row, column: int) -> str | float:
    return (
        f"{row.quantity} {row.loop:04d} {row.frame:06d}",
        row.view,
        row.number,
        row.repeat,
        len(row.warnings),
    )[column]


def quantity_lines(row: Row) -> list[str]:
    """Return the lines of a row's first cell, on which its height depends."""
    sign = "" if row.confirmed else UNCONFIRMED_SIGN
    marks = ((row.provisional, PROVISIONAL), (not row.confirmed, UNCONFIRMED))
    return [
        *f"{sign}{row.quantity}".split(", "),
        f"#{row.loop} frame {frame_words(row.frame)}",
        *(words for holds, words in marks if holds),
    ]


def _tip(row: Row, column: int) -> str:
    if column == WARNINGS or row.warnings:
        return joined(row.warnings) if row.warnings else "no warnings"
    return TIPS[column]


def _patch(colour: str) -> QPixmap:
    patch = QPixmap(10, 10)
    patch.fill(QColor(colour))
    return patch
