"""Write what was measured."""

from collections.abc import Sequence
from pathlib import Path

from annot.exports import COLUMNS, CSV, Cell, TableEntry, csv_text, rows_of, write_whole
from annot.exports.curve_file import CURVE_COLUMNS

__all__ = ["COLUMNS", "CURVE_COLUMNS", "Cell", "rows_of", "write_table"]


def write_table(entries: Sequence[TableEntry], path: Path) -> None:
    """Write the measurement table as CSV, whole or not at all."""
    write_whole(path, csv_text(rows_of(entries)), replaces=CSV)
