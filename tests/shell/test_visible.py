"""What a protocol's list of hidden things leaves on the screen."""

from dataclasses import fields
from typing import get_args

import pytest

from annot.vocabulary.protocol import Hidden
from napari_annot.visible import EVERYTHING, Seat, Visible

NAMES = {"millimetres_while_drawing": "millimetres"}
WINDOW_PARTS = [one for one in get_args(Hidden) if one != "repeats"]


def test_nothing_hidden_shows_everything():
    assert Visible.without(()) == EVERYTHING
    assert all(getattr(EVERYTHING, one.name) for one in fields(Visible))


@pytest.mark.parametrize("hidden", WINDOW_PARTS)
def test_each_word_of_a_protocol_hides_one_part_and_no_other(hidden):
    left = Visible.without([hidden])
    off = [one.name for one in fields(Visible) if not getattr(left, one.name)]
    assert off == [NAMES.get(hidden, hidden)]


def test_remarks_that_compare_scales_go_with_the_comparison():
    remarks = ("the ends are foreshortened", "a header's scale differs, E_n 1.8")
    assert EVERYTHING.remarks(remarks) == remarks
    assert Visible(scale_comparison=False).remarks(remarks) == remarks[:1]


def test_a_case_stands_for_the_file_only_where_names_are_hidden():
    assert Seat(case="Case 2").name_of("KWZQ.dcm") == "KWZQ.dcm"
    assert Seat(case="Case 2", visible=Visible(file_name=False)).name_of("KWZQ.dcm") == "Case 2"
