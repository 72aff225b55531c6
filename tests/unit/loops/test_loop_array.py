"""A loop as an array: NumPy's own indexing is the reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.loops import LoopArray, open_loop
from annot.loops.frame_cache import FrameCache

PIXELS = np.arange(6 * 4 * 5, dtype=np.uint16).reshape(6, 4, 5)
COLOUR = np.arange(3 * 4 * 5 * 3, dtype=np.uint8).reshape(3, 4, 5, 3)


class CountingLoop:
    """Stands for a loop and counts what is decoded."""

    shape = PIXELS.shape
    dtype = PIXELS.dtype

    def __init__(self) -> None:
        self.decoded: list[int] = []

    def frame(self, n: int) -> np.ndarray:
        self.decoded.append(n)
        return PIXELS[n]


whole = st.integers(-4, 3)
slices = st.slices(6)


@given(
    first=st.one_of(st.integers(-6, 5), slices, st.lists(st.integers(-6, 5), max_size=4)),
    rest=st.one_of(
        st.just(()),
        st.tuples(st.one_of(whole, st.slices(4))),
        st.tuples(st.one_of(whole, st.slices(4)), st.one_of(whole, st.slices(5))),
    ),
    dots=st.booleans(),
)
def test_indexing_follows_numpy(first, rest, dots):
    key = (first, ..., *rest) if dots else (first, *rest)
    key = tuple(np.array(part, dtype=int) if isinstance(part, list) else part for part in key)
    # NumPy moves a list's axis when a whole number follows it behind a slice; so does no reader.
    lists = isinstance(first, list)
    if lists and any(isinstance(part, int) for part in rest):
        return
    result = LoopArray(CountingLoop())[key]
    np.testing.assert_array_equal(result, PIXELS[key])
    assert result.shape == PIXELS[key].shape
    assert result.dtype == PIXELS.dtype


def test_it_stands_for_the_whole_loop(write_loop):
    array = LoopArray(open_loop(write_loop(COLOUR)))
    assert (array.shape, array.dtype, array.ndim) == ((3, 4, 5, 3), np.uint8, 4)
    assert repr(array) == "<LoopArray (3, 4, 5, 3) uint8>"
    assert (len(array), array.size, array.nbytes) == (3, 180, 180)
    np.testing.assert_array_equal(np.asarray(array), COLOUR)
    np.testing.assert_array_equal(np.asarray(array, dtype=np.float32), COLOUR.astype(np.float32))
    np.testing.assert_array_equal(array[()], COLOUR)
    np.testing.assert_array_equal(array[..., 1], COLOUR[..., 1])
    np.testing.assert_array_equal(list(array), COLOUR)


def test_only_the_frames_asked_for_are_decoded_and_each_once():
    loop = CountingLoop()
    array = LoopArray(loop)
    _ = array[3]
    _ = array[slice(3, 4), :, :]
    _ = array[3:5, 0, 0]
    _ = array[0:0]
    assert loop.decoded == [3, 4]


def test_the_cache_is_bounded_in_bytes_and_drops_the_oldest():
    loop = CountingLoop()
    array = LoopArray(loop, cache_bytes=2 * PIXELS[0].nbytes)
    for n in (0, 1, 0, 2, 0, 1):
        _ = array[n]
    assert loop.decoded == [0, 1, 2, 1]


def test_a_frame_larger_than_the_cache_is_not_kept_and_drops_no_other():
    cache = FrameCache(PIXELS[0].nbytes)
    assert cache.get(0, lambda n: PIXELS[n]) is not None
    assert cache.get(1, lambda _n: PIXELS) is PIXELS
    assert cache.held_bytes == PIXELS[0].nbytes
    assert cache.get(0, lambda _n: PIXELS) is not PIXELS


def test_what_numpy_refuses_is_refused():
    array = LoopArray(CountingLoop())
    for key in (6, -7, (0, 9), (0, 0, 0, 0), (..., ...), (None, 0), (0, [1, 2]), (0, True)):
        with pytest.raises(IndexError):
            _ = array[key]


def test_a_loop_cannot_become_an_array_uncopied():
    with pytest.raises(ValueError, match="uncopied"):
        np.array(LoopArray(CountingLoop()), copy=False)
