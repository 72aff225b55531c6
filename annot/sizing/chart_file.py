"""Read a size chart from its user's CSV file."""

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path

from annot.errors import InputError
from annot.sizing.chart import ChartRow, SizeChart


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartColumn:
    """A column of a size chart."""

    name: str
    unit: str
    meaning: str


CHART_COLUMNS = (
    ChartColumn(name="label", unit="", meaning="the owner's name for the size"),
    ChartColumn(name="nominal_mm", unit="mm", meaning="width of the thing itself, unloaded"),
    ChartColumn(
        name="width_from_mm",
        unit="mm",
        meaning="smallest measured width it is meant for, inside the range",
    ),
    ChartColumn(name="width_to_mm", unit="mm", meaning="largest, outside the range"),
    ChartColumn(
        name="least_depth_mm",
        unit="mm",
        meaning="depth it needs; the column may be left out, a cell may be empty",
    ),
)
_NAMES = tuple(column.name for column in CHART_COLUMNS)
_OPTIONAL = "least_depth_mm"


def read_chart(path: Path) -> SizeChart:
    """Read a chart.

    Raises
    ------
    InputError
        If it is no chart; every faulty line is named.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise InputError(f"{path} cannot be read: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is no UTF-8 text: save the chart as CSV (UTF-8).") from None
    return parse_chart(text, name=path.name)


def parse_chart(text: str, *, name: str) -> SizeChart:
    """Return the chart of a CSV text; see `read_chart`."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = [
            (reader.line_num, [cell.strip() for cell in cells]) for cells in reader if any(cells)
        ]
    except csv.Error as fault:
        raise InputError(f"{name}, line {reader.line_num}: this is no CSV ({fault}).") from None
    _check_heads(lines[0][1] if lines else [], name)
    heads, rows, faults = lines[0][1], [], []
    for line, cells in lines[1:]:
        try:
            rows.append(_row(heads, cells))
        except ValueError as fault:
            faults.append(f"line {line}: {fault}")
    if faults:
        raise InputError(f"{name}: {'; '.join(faults)}.")
    try:
        return SizeChart(name=name, rows=tuple(rows))
    except ValueError as fault:
        raise InputError(f"{name}: {fault}.") from None


def _check_heads(heads: list[str], name: str) -> None:
    wanted = ", ".join(_NAMES)
    missing = [one for one in _NAMES if one not in heads and one != _OPTIONAL]
    unknown = [one for one in heads if one not in _NAMES]
    if missing or unknown or len(set(heads)) != len(heads):
        parts = [
            f"lacks {', '.join(missing)}" if missing else "",
            f"has columns that no chart has ({', '.join(unknown)})" if unknown else "",
            "names a column twice" if len(set(heads)) != len(heads) else "",
        ]
        what = " and ".join(part for part in parts if part)
        raise InputError(f"{name} {what}: the columns of a size chart are {wanted}.")


def _row(heads: list[str], cells: list[str]) -> ChartRow:
    if len(cells) != len(heads):
        raise ValueError(f"{len(cells)} cells for {len(heads)} columns")
    values = dict(zip(heads, cells, strict=True))
    numbers = {
        name: _number(name, cell)
        for name, cell in values.items()
        if name != "label" and (cell or name != _OPTIONAL)
    }
    return ChartRow(label=values["label"], **numbers)


def _number(name: str, cell: str) -> float:
    try:
        number = float(cell)
    except ValueError:
        raise ValueError(f"{name} is '{cell}', but a number in mm is meant") from None
    if not math.isfinite(number):
        raise ValueError(f"{name} is {cell}, but a finite number is meant")
    return number
