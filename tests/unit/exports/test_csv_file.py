"""CSV: UTF-8, RFC 4180, and numbers that come back as they went."""

import csv
import io
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.exports import COLUMNS, csv_text, rows_of
from tests.strategies import words

NAMES = [column.name for column in COLUMNS]


def read_back(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def blank(**cells):
    return {**dict.fromkeys(NAMES), **cells}


def test_a_table_comes_back_with_the_same_numbers_texts_and_gaps(entries):
    rows = rows_of(entries)
    for row, back in zip(rows, read_back(csv_text(rows)), strict=True):
        assert list(back) == NAMES
        for name, cell in row.items():
            if cell is None:
                assert back[name] == ""
            elif isinstance(cell, bool):
                assert back[name] == ("true" if cell else "false")
            elif isinstance(cell, float):
                assert float(back[name]) == cell
            elif isinstance(cell, int):
                assert int(back[name]) == cell
            else:
                assert back[name] == cell


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_float_comes_back_to_the_last_bit(value):
    (row,) = read_back(csv_text([blank(value=value)]))
    assert float(row["value"]) == value
    assert math.copysign(1, float(row["value"])) == math.copysign(1, value)


@given(st.floats(-1e6, 1e6))
def test_a_numpy_number_is_written_as_a_number(value):
    """NumPy 2 shows itself as 'np.float64(1.0)', which no reader of a table understands."""
    (row,) = read_back(csv_text([blank(value=np.float64(value))]))
    assert float(row["value"]) == value


@given(words)
def test_free_texts_come_back_whatever_they_hold(text):
    (row,) = read_back(csv_text([blank(warnings=f"a{text}")]))
    assert row["warnings"] == f"a{text}"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", '=HYPERLINK("http://x")'])
def test_no_text_is_run_as_a_formula_by_a_spreadsheet(text):
    (row,) = read_back(csv_text([blank(conditions=text)]))
    assert row["conditions"] == f"'{text}"


def test_negative_numbers_stay_numbers():
    (row,) = read_back(csv_text([blank(primary_deg=-30.0, beat=-1)]))
    assert float(row["primary_deg"]) == -30.0


def test_lines_end_as_rfc_4180_has_them(entries):
    text = csv_text(rows_of(entries))
    assert text.endswith("\r\n")
    assert text.count("\r\n") == len(entries) + 1
    assert text.splitlines()[0] == ",".join(NAMES)


def test_an_empty_table_is_its_header():
    assert csv_text([]) == ",".join(NAMES) + "\r\n"


def test_signs_of_the_field_are_utf_8():
    (row,) = read_back(csv_text([blank(warnings="±20 mm, φ ≤ 15°")]).encode().decode("utf-8"))
    assert row["warnings"] == "±20 mm, φ ≤ 15°"
