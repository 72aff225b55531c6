"""Masks: what stays visible, what needs a look, and what a mask is known by."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.errors import InputError
from annot.reads.blinding import PictureMask, default_mask, masked, needs_look
from tests.strategies import echo_header, header, region

ROWS, COLUMNS = 30, 40


@st.composite
def boxes(draw):
    rows = sorted(draw(st.tuples(st.integers(0, ROWS - 1), st.integers(0, ROWS - 1))))
    columns = sorted(draw(st.tuples(st.integers(0, COLUMNS - 1), st.integers(0, COLUMNS - 1))))
    return rows[0], columns[0], rows[1], columns[1]


@given(st.lists(boxes(), max_size=3), st.lists(boxes(), max_size=3), st.integers(0, 10**6))
def test_what_is_visible_is_untouched_and_all_else_is_black(shown, hidden, seed):
    frame = np.random.default_rng(seed).integers(1, 4096, (ROWS, COLUMNS), dtype=np.uint16)
    kept = PictureMask(shown=tuple(shown), hidden=tuple(hidden)).visible(ROWS, COLUMNS)
    result = masked(frame, kept)
    for row in range(ROWS):
        for column in range(COLUMNS):
            inside = [a <= row <= c and b <= column <= d for a, b, c, d in shown]
            outside = [a <= row <= c and b <= column <= d for a, b, c, d in hidden]
            expected = frame[row, column] if any(inside) and not any(outside) else 0
            assert result[row, column] == expected


@pytest.mark.parametrize("box", [(0, 0, ROWS, 5), (5, 0, 4, 5), (0, 7, 3, 6), (0, 0, 3, COLUMNS)])
def test_a_box_that_is_none_is_refused(box):
    with pytest.raises(InputError, match="does not lie in a picture of 30 rows and 40 columns"):
        PictureMask(shown=(box,)).visible(ROWS, COLUMNS)


def test_an_echo_shows_its_measuring_regions_inside_the_picture_only():
    inside = region(min_x0=5, min_y0=6, max_x1=20, max_y1=25)
    graphics = region(min_x0=0, min_y0=0, max_x1=3, max_y1=3, spatial_format=5)
    found = default_mask(echo_header(inside, graphics))
    assert found.shown == ((6, 5, 25, 20),)
    stale = region(min_x0=0, min_y0=0, max_x1=10**4, max_y1=20)
    assert default_mask(echo_header(stale)).shown == ()
    assert default_mask(echo_header()).shown == ()


def test_any_other_picture_shows_everything():
    loop = header(modality="XA")
    assert default_mask(loop).visible(loop.rows, loop.columns).all()


@pytest.mark.parametrize(
    ("modality", "burned_in", "needed"),
    [
        ("XA", False, False),
        ("XA", None, True),
        ("XA", True, True),
        ("RF", False, False),
        ("US", False, True),
        ("US", None, True),
        ("US", True, True),
        ("OT", False, True),
        ("", False, True),
    ],
)
def test_only_an_x_ray_loop_that_says_no_needs_no_look(modality, burned_in, needed):
    assert needs_look(header(modality=modality, burned_in=burned_in)) is needed


def test_a_digest_tells_masks_apart():
    one = PictureMask(shown=((0, 0, 3, 3),))
    assert one.digest == PictureMask(shown=((0, 0, 3, 3),)).digest
    assert one.digest != PictureMask(shown=(), hidden=((0, 0, 3, 3),)).digest
