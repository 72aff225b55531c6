"""The measurement table as CSV: UTF-8, RFC 4180."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence

from annot.exports.table import COLUMNS, Cell


def csv_text(rows: Iterable[Mapping[str, Cell]]) -> str:
    """Return the table as text with CRLF line ends; empty cells where there is no value.

    Numbers are written so that reading them back gives the same float.
    """
    return "".join(csv_lines(rows, [column.name for column in COLUMNS]))


def csv_lines(rows: Iterable[Mapping[str, Cell]], names: Sequence[str]) -> Iterator[str]:
    """Yield a table's head and its rows line by line; a row without a column has it empty."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(names)
    yield _taken(stream)
    for row in rows:
        writer.writerow([cell_text(row.get(name)) for name in names])
        yield _taken(stream)


def _taken(stream: io.StringIO) -> str:
    text = stream.getvalue()
    stream.seek(0)
    stream.truncate()
    return text


def cell_text(cell: Cell) -> str:
    """Return a cell as it stands in a file; numbers read back as the same float."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    # a NumPy float is a float too, but shows itself as "np.float64(1.0)"
    return repr(float(cell)) if isinstance(cell, float) else _no_formula(str(cell))


def _no_formula(text: str) -> str:
    """Keep a spreadsheet from running a free text that begins like a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
