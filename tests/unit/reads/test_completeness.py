"""What a protocol still asks for, view by view and repeat by repeat."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.reads.completeness import Reading, standings, unasked
from annot.vocabulary.protocol import Protocol, QuantityRule, View, moment_of

ECHO, XRAY = View(modality="US", plane_deg=45.0), View(modality="XA")
WIDTH = QuantityRule(
    quantity="ostium_width", definition="d", source="s", views=(ECHO, XRAY), repeats=2, beats=2
)
ASKS = Protocol(name="p", version=1, title="t", quantities=(WIDTH,))
ONE = Reading(quantity="ostium_width", modality="US", plane_deg=45.0, repeat=1, beat=0)


def echo_standing(*readings: Reading):
    return next(one for one in standings(ASKS, readings) if one.view is ECHO)


def test_nothing_read_misses_everything():
    found = standings(ASKS, ())
    assert [one.view for one in found] == [ECHO, XRAY]
    assert all(not one.complete and one.missing == "0 of 2 repeats" for one in found)


def test_repeats_and_beats_are_counted_apart():
    assert echo_standing(ONE).missing == "1 of 2 repeats, 1 of 2 beats"
    again = replace(ONE, repeat=2)
    assert echo_standing(ONE, again).missing == "1 of 2 beats"
    beats = [replace(one, beat=1) for one in (ONE, again)]
    assert echo_standing(ONE, again, beats[0]).missing == "1 of 2 beats"
    assert echo_standing(ONE, again, *beats).complete
    assert echo_standing(ONE, again, *beats).missing == ""


@pytest.mark.parametrize(
    "change",
    [{"quantity": "depth"}, {"plane_deg": 90.0}, {"plane_deg": None}, {"modality": "XA"}],
)
def test_another_quantity_view_or_modality_does_not_count(change):
    assert echo_standing(replace(ONE, **change)).repeats_read == 0


def test_what_nobody_asked_for_is_said():
    strange = replace(ONE, plane_deg=90.0)
    other = replace(ONE, quantity="distance")
    assert unasked(ASKS, (ONE, strange, other)) == (strange, other)


def test_a_reading_of_another_moment_or_of_none_does_not_count():
    rule = replace(WIDTH, views=(ECHO,), repeats=1, beats=1, moment="largest")
    asks = Protocol(name="p", version=1, title="t", quantities=(rule,))
    [at_none] = standings(asks, (ONE,))
    assert at_none.missing == (
        "0 of 1 repeats, 1 not counted: not stated as taken at 'largest', or not confirmed"
    )
    [elsewhere] = standings(asks, (replace(ONE, moment="end_diastole"),))
    assert (elsewhere.repeats_read, elsewhere.not_counted) == (0, 1)
    [there] = standings(asks, (replace(ONE, moment="largest"),))
    assert there.complete
    assert there.missing == ""


def test_what_a_program_proposed_does_not_count_until_confirmed():
    proposed = replace(ONE, confirmed=False)
    assert echo_standing(proposed).repeats_read == 0
    assert "1 not counted: not confirmed" in echo_standing(proposed).missing


@pytest.mark.parametrize(
    ("words", "moment"),
    [
        ("largest", "largest"),
        ("End systole", "end_systole"),
        (" end-diastole ", "end_diastole"),
        ("ANY", "any"),
        ("largest ostium", None),
        ("", None),
        (None, None),
    ],
)
def test_words_name_a_moment_of_the_protocol_or_none(words, moment):
    assert moment_of(words) == moment


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 3)), max_size=12))
def test_one_more_reading_never_makes_it_less_complete(pairs):
    taken = [replace(ONE, repeat=repeat, beat=beat) for repeat, beat in pairs]
    read = [echo_standing(*taken[:n]).repeats_read for n in range(len(taken) + 1)]
    assert read == sorted(read)
    assert read[-1] == len({repeat for repeat, _ in pairs})
