"""A user's chart is read strictly: what is odd is named, nothing is guessed."""

import pytest

from annot.errors import InputError
from annot.sizing import CHART_COLUMNS, parse_chart, read_chart

HEAD = ",".join(column.name for column in CHART_COLUMNS)


def test_a_chart_is_read_in_its_own_order_and_a_depth_may_be_missing():
    chart = parse_chart(f"{HEAD}\nM,24,20,22,13\nS,22,18,20,\n", name="c.csv")
    assert [row.label for row in chart.rows] == ["M", "S"]
    assert chart.rows[0].least_depth_mm == 13
    assert chart.rows[1].least_depth_mm == 0
    assert chart.boundaries_mm == (18, 20, 22)
    without = parse_chart("label,nominal_mm,width_from_mm,width_to_mm\nS,22,18,20\n", name="c.csv")
    assert without.rows[0].least_depth_mm == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "lacks label, nominal_mm"),
        ("label,nominal_mm\nS,22", "lacks width_from_mm, width_to_mm"),
        (f"{HEAD},colour\n", "columns that no chart has (colour)"),
        (f"{HEAD},label\n", "names a column twice"),
        (f"{HEAD}\n", "at least one row"),
        (f"{HEAD}\nS,22,18,20", "line 2: 4 cells for 5 columns"),
        (f"{HEAD}\nS,22,20,18,12", "are no range"),
        (f"{HEAD}\nS,22,18,18,12", "are no range"),
        (f"{HEAD}\nS,0,18,20,12", "a size is positive"),
        (f"{HEAD}\nS,22,18,20,-1", "a depth in mm is meant, 0 or more"),
        (f"{HEAD}\nS,1e-300,18,20,12", "a size in mm is meant"),
        (f"{HEAD}\nS,22,18,1e300,12", "are no range"),
        (f"{HEAD}\nS,22,x,20,12", "width_from_mm is 'x'"),
        (f"{HEAD}\nS,22,18,inf,12", "a finite number"),
        (f"{HEAD}\n ,22,18,20,12", "no label"),
        (f"{HEAD}\nS,22,18,20,12\nS,24,20,22,13", "the label S stands more than once"),
        (f'{HEAD}\nS,"22"x,18,20,12', "no CSV"),
    ],
)
def test_a_chart_at_fault_gets_one_sentence(text, words):
    with pytest.raises(InputError, match=r"c\.csv") as fault:
        parse_chart(text, name="c.csv")
    assert words in str(fault.value)


def test_a_file_that_is_no_text_or_not_there(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_chart(tmp_path / "none.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00S")
    with pytest.raises(InputError, match="UTF-8"):
        read_chart(tmp_path / "b.csv")
