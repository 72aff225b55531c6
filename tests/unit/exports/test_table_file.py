"""A table is read back as it was written, and one at fault gets a sentence per fault."""

import pytest

from annot.errors import InputError
from annot.exports import COLUMNS, csv_text, rows_of
from annot.exports.table_file import OPTIONAL, REQUIRED, parse_table, read_table

HEAD = "study,quantity,reader,value,unit,u"
LINE = "HARBOUR-01,ostium_width,A,24.5,mm,0.6"


def parsed(*lines):
    return parse_table("\n".join(lines), name="t.csv")


def test_what_this_program_writes_comes_back(entries, tmp_path):
    path = tmp_path / "table.csv"
    written = rows_of(entries)
    path.write_bytes(csv_text(written).encode())
    for row, wanted in zip(read_table(path), written, strict=True):
        for name in (*REQUIRED, *OPTIONAL):
            cell = wanted[name]
            assert getattr(row, name) == (
                "" if cell is None and name.endswith(("_id", "_group")) else cell
            ) or (cell in (None, "") and getattr(row, name) in (None, "")), name


def test_a_table_from_before_the_speed_of_sound_had_columns_is_read(entries):
    rows = rows_of(entries)
    for row in rows:
        row["share_other"] += row.pop("share_speed")
        del row["speed_group"]
    lines = [",".join(rows[0]), *(",".join(_plain(cell) for cell in r.values()) for r in rows)]
    for old, row in zip(parsed(*lines), rows, strict=True):
        assert (old.speed_group, old.share_speed) == ("", None)
        assert old.share_other == pytest.approx(row["share_other"])


def _plain(cell):
    return "" if cell is None else str(cell).replace(",", " ")


def test_every_column_that_is_read_is_a_column_that_is_written():
    assert {*REQUIRED, *OPTIONAL} <= {column.name for column in COLUMNS}


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("1e300,mm,0.6", "value is 1e300, which is beyond what anything measures"),
        ("24.5,mm,1e300", "u is 1e300, which is beyond"),
        ("24.5,mm,1e-300", "u is 1e-300, but nothing measured is known that well"),
    ],
)
def test_a_figure_that_no_arithmetic_can_take_is_refused_with_its_line(cell, words):
    with pytest.raises(InputError, match=r"line 2: ") as fault:
        parsed(HEAD, f"HARBOUR-01,ostium_width,A,{cell}")
    assert words in fault.value.message


def test_six_columns_are_enough_in_any_order_with_others_beside_them():
    assert REQUIRED == ("study", "quantity", "reader", "value", "unit", "u")
    [row] = parsed("note,u,unit,value,reader,quantity,study", "x,0.6,mm,24.5,A,depth,S1")
    assert (row.study, row.quantity, row.reader) == ("S1", "depth", "A")
    assert (row.value, row.u, row.unit, row.line) == (24.5, 0.6, "mm", 2)
    assert (row.modality, row.view_deg, row.share_scale) == ("", None, None)


def test_byte_order_mark_crlf_blank_lines_and_quotes_are_read(tmp_path):
    path = tmp_path / "t.csv"
    text = f'\ufeff{HEAD},warnings\r\n\r\n{LINE},"tilt, not stated"\r\n'
    path.write_bytes(text.encode())
    [row] = read_table(path)
    assert row.warnings == "tilt, not stated"


def test_a_shielded_formula_comes_back_as_it_was():
    [row] = parsed(f"{HEAD},warnings", f"{LINE},'=SUM(A1)")
    assert row.warnings == "=SUM(A1)"


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([], "is empty"),
        ([HEAD], "no rows"),
        (["study,value,u", "S,1,1"], "lacks the columns quantity, reader, unit"),
        ([f"{HEAD},u", f"{LINE},1"], "the column u more than once"),
        ([HEAD, f"{LINE},7"], "line 2 has 7 cells for 6 columns"),
        ([HEAD, LINE.replace("24.5", "wide")], "line 2: value is 'wide', but a number is meant"),
        ([HEAD, LINE.replace("24.5", "nan")], "a finite number"),
        ([HEAD, LINE.replace("24.5", "")], "line 2: value is empty"),
        ([HEAD, LINE.replace("24.5", "-3")], "ostium_width is positive"),
        ([HEAD, LINE.replace("0.6", "-0.6")], "an uncertainty is not negative"),
        ([f"{HEAD},frame", f"{LINE},1.5"], "a whole number is meant"),
        ([f"{HEAD},confirmed", f"{LINE},maybe"], "true or false"),
        ([HEAD, f'{LINE}"x"y'], "line 2"),
    ],
)
def test_a_table_at_fault_gets_one_sentence(lines, words):
    with pytest.raises(InputError, match=r"t\.csv") as fault:
        parsed(*lines)
    assert words in str(fault.value)


def test_all_faults_are_named_at_once_up_to_five():
    bad = LINE.replace("24.5", "x")
    with pytest.raises(InputError, match=r"line 2: .*line 6: .*and 2 more"):
        parsed(HEAD, *[bad] * 7)


def test_a_file_that_is_no_text_or_not_there(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_table(tmp_path / "none.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00S")
    with pytest.raises(InputError, match="UTF-8"):
        read_table(tmp_path / "b.csv")
