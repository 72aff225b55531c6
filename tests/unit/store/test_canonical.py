"""One text for one content, by a quick way and a close look that must agree."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.errors import InputError
from annot.store import canonical as module
from annot.store.canonical import canonical

SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters())
ODD = st.sampled_from([(1, 2), {1}, b"x", 1j])
ANYTHING = st.recursive(
    SCALARS | ODD,
    lambda part: (
        st.lists(part, max_size=3)
        | st.dictionaries(
            st.text(st.characters(), max_size=3) | st.integers(0, 3), part, max_size=3
        )
    ),
    max_leaves=8,
)


def outcome(content):
    try:
        return canonical(content)
    except InputError as fault:
        return fault.message


@given(ANYTHING)
def test_the_quick_way_and_the_close_look_say_the_same(content):
    quick = outcome(content)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_plain", lambda _: False)
        assert outcome(content) == quick


@given(ANYTHING)
def test_a_text_reads_back_to_what_was_kept(content):
    try:
        text = canonical(content)
    except InputError:
        return
    assert json.loads(text) == content
    text.encode("utf-8")
    assert "\x00" not in json.dumps(json.loads(text), ensure_ascii=False)


@pytest.mark.parametrize(
    ("content", "text"),
    [
        # keys by code point, no padding, UTF-8 as it is: RFC 8785 asks for the same of these
        ({"b": 1, "a": [True, None]}, '{"a":[true,null],"b":1}'),
        ({"é": "€", "e": ""}, '{"e":"","é":"€"}'),
        ({"x": "\\u0000"}, '{"x":"\\\\u0000"}'),
        ([0.1, 1e30, -0.0], "[0.1,1e+30,-0.0]"),
    ],
)
def test_the_text_is_the_one_that_is_meant(content, text):
    assert canonical(content) == text


@pytest.mark.parametrize("content", [{1: "x"}, {"a": float("nan")}, ["a\x00"], ["\ud800"], (1,)])
def test_what_json_does_not_hold_is_refused(content):
    with pytest.raises(InputError):
        canonical(content)
