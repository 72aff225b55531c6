"""Read a measurement table back: CSV of this program, or of another with the same columns."""

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields
from pathlib import Path

from annot.errors import InputError
from annot.measurement.measured_row import MeasuredRow
from annot.vocabulary.measurands import SIGNED

REQUIRED = tuple(
    one.name for one in fields(MeasuredRow) if one.default is MISSING and one.name != "line"
)
OPTIONAL = tuple(
    one.name for one in fields(MeasuredRow) if one.default is not MISSING and one.name != "line"
)
_WHOLE = frozenset({"frame", "beat", "repeat"})
_TEXTS = frozenset(one.name for one in fields(MeasuredRow) if one.type is str)
_MOST_FAULTS = 5
_CURVES_OWN = {"smoothed", "return_px"}
# no size, angle, time or share that is meant lies beyond; further out arithmetic overflows
_LARGEST = 1e9
# a smaller part of the value is below what the arithmetic itself rounds
_LEAST_U_REL = 1e-9


def read_table(path: Path) -> list[MeasuredRow]:
    """Read a table's rows.

    Columns may stand in any order, further ones are ignored, and only those of `REQUIRED` must
    be there.

    Raises
    ------
    InputError
        If it is no such table; all faults are named at once, up to five.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise InputError(f"{path} cannot be read: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name} is no UTF-8 text: export the table as CSV (UTF-8)."
        ) from None
    return parse_table(text, name=path.name)


def parse_table(text: str, *, name: str) -> list[MeasuredRow]:
    """Return the rows of a table's text; see `read_table`."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = [(reader.line_num, cells) for cells in reader if any(cells)]
    except csv.Error as fault:
        raise InputError(
            f"{name}, line {reader.line_num}: this is no CSV ({fault}); export the table again."
        ) from None
    if not lines:
        raise InputError(f"{name} is empty: name a measurement table.")
    heads = [cell.strip() for cell in lines[0][1]]
    _check_heads(heads, name)
    if len(lines) == 1:
        raise InputError(f"{name} has columns but no rows, so there is nothing to work on.")
    return _rows(heads, lines[1:], name)


def _check_heads(heads: list[str], name: str) -> None:
    if set(heads) >= _CURVES_OWN:
        raise InputError(
            f"{name} is the curve of one tracked caliper, whose frames share its hand's error and "
            "no person has confirmed: name a measurement table."
        )
    missing = [one for one in REQUIRED if one not in heads]
    if missing:
        raise InputError(
            f"{name} lacks the column{'s' if len(missing) > 1 else ''} {', '.join(missing)}: a "
            f"measurement table has {', '.join(REQUIRED)} (annot schema table lists all)."
        )
    twice = sorted({one for one in heads if one and heads.count(one) > 1})
    if twice:
        raise InputError(f"{name} has the column {', '.join(twice)} more than once: remove one.")


def _rows(heads: list[str], lines: Iterable[tuple[int, list[str]]], name: str) -> list[MeasuredRow]:
    rows, faults = [], []
    for line, cells in lines:
        if len(cells) != len(heads):
            faults.append(f"line {line} has {len(cells)} cells for {len(heads)} columns")
            continue
        try:
            rows.append(_row(dict(zip(heads, cells, strict=True)), line))
        except ValueError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        more = f"; and {len(faults) - _MOST_FAULTS} more" if len(faults) > _MOST_FAULTS else ""
        raise InputError(f"{name}: {'; '.join(faults[:_MOST_FAULTS])}{more}.")
    return rows


def _row(cells: Mapping[str, str], line: int) -> MeasuredRow:
    values: dict[str, object] = {"line": line}
    for name in (*REQUIRED, *OPTIONAL):
        value = _value(name, cells.get(name, "").strip())
        if value is not None:
            values[name] = value
        elif name in REQUIRED:
            raise ValueError(f"{name} is empty")
    row = MeasuredRow(**values)  # type: ignore[arg-type] # each value was parsed for its field
    if row.u < 0:
        raise ValueError(f"u is {row.u:g}, but an uncertainty is not negative")
    if 0 < row.u < _LEAST_U_REL * abs(row.value):
        raise ValueError(f"u is {row.u:g}, but nothing measured is known that well")
    if row.unit in {"mm", "mm2", "px", "px2"} and row.quantity not in SIGNED and row.value <= 0:
        raise ValueError(f"value is {row.value:g}, but {row.quantity} is positive")
    return row


def _value(name: str, cell: str) -> object:
    if not cell:
        return None
    if name in _TEXTS:
        # the writer shields free text that a spreadsheet would run
        return cell[1:] if cell[:1] == "'" and cell[1:2] in ("=", "+", "-", "@") else cell
    if name == "confirmed":
        if cell.lower() not in ("true", "false"):
            raise ValueError(f"confirmed is '{cell}', but true or false is meant")
        return cell.lower() == "true"
    return _number(name, cell)


def _number(name: str, cell: str) -> float:
    try:
        number = float(cell)
    except ValueError:
        raise ValueError(f"{name} is '{cell}', but a number is meant") from None
    if not math.isfinite(number):
        raise ValueError(f"{name} is {cell}, but a finite number is meant")
    if abs(number) > _LARGEST:
        raise ValueError(f"{name} is {cell}, which is beyond what anything measures")
    if name in _WHOLE:
        if number != int(number):
            raise ValueError(f"{name} is {cell}, but a whole number is meant")
        return int(number)
    return number
