"""Running ahead of steady play, and stopping at a jump."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from annot.errors import LoopError
from annot.loops import LoopArray
from annot.loops.frame_cache import FrameCache
from annot.loops.prefetch import Prefetch

PIXELS = np.arange(40 * 4 * 5, dtype=np.uint16).reshape(40, 4, 5)
PATIENCE_S = 5.0


def eventually(holds) -> bool:
    """Wait until something holds; a machine under load may take its time."""
    end = time.monotonic() + PATIENCE_S
    while not holds():
        if time.monotonic() > end:
            return False
        time.sleep(0.001)
    return True


class GatedLoop:
    """Stands for a loop whose decoding on other threads waits for a gate."""

    shape = PIXELS.shape
    dtype = PIXELS.dtype

    def __init__(self) -> None:
        self.gate = threading.Event()
        self.own = threading.get_ident()
        self.ahead: list[int] = []
        self.wanted: list[int] = []
        self.broken: set[int] = set()

    def frame(self, n: int) -> np.ndarray:
        if threading.get_ident() == self.own:
            self.wanted.append(n)
        else:
            assert self.gate.wait(PATIENCE_S)
            self.ahead.append(n)
        if n in self.broken:
            raise LoopError("broken")
        return PIXELS[n]


def play(array: LoopArray, *frames: int) -> None:
    for n in frames:
        np.testing.assert_array_equal(array[n], PIXELS[n])


@pytest.mark.parametrize(
    ("seen", "coming"),
    [
        ((0, 1, 2), [3, 4, 5]),
        ((9, 8, 7), [6, 5, 4]),
        ((4, 6, 8), [10, 12, 14]),
        ((37, 38, 39), [0, 1, 2]),
        ((39, 0, 1), [2, 3, 4]),
        ((2, 1, 0), [39, 38, 37]),
        ((0, 1, 1, 2, 2), [3, 4, 5]),
    ],
)
def test_steady_play_is_decoded_ahead(seen, coming):
    loop = GatedLoop()
    loop.gate.set()
    array = LoopArray(loop, ahead_frames=3)
    play(array, *seen)
    assert eventually(lambda: loop.ahead == coming)
    play(array, *coming[:1])
    assert loop.wanted == list(dict.fromkeys(seen))


@pytest.mark.parametrize("seen", [(0,), (0, 1), (0, 1, 3), (0, 9, 18), (5, 6, 5, 6), (3, 3, 3)])
def test_looking_around_is_not_play(seen):
    loop = GatedLoop()
    array = LoopArray(loop)
    play(array, *seen)
    assert array._prefetch.planned == ()
    assert not loop.ahead


def test_a_jump_drops_what_was_planned():
    loop = GatedLoop()
    array = LoopArray(loop, ahead_frames=8)
    play(array, 0, 1, 2)
    assert eventually(lambda: len(array._prefetch.planned) == 7)  # one is under way
    play(array, 30)
    assert array._prefetch.planned == ()
    loop.gate.set()
    assert eventually(lambda: loop.ahead == [3])
    assert eventually(lambda: not array._prefetch._running)
    assert loop.ahead == [3]


def test_a_frame_under_way_is_waited_for_and_not_decoded_twice():
    loop = GatedLoop()
    array = LoopArray(loop, ahead_frames=1)
    play(array, 0, 1, 2)
    assert eventually(lambda: array._cache.holds(3))
    threading.Timer(0.05, loop.gate.set).start()
    play(array, 3)
    assert loop.wanted == [0, 1, 2]


def test_a_broken_frame_ahead_is_told_to_whoever_wants_it():
    loop = GatedLoop()
    loop.gate.set()
    loop.broken.add(3)
    array = LoopArray(loop, ahead_frames=2)
    play(array, 0, 1, 2)
    assert eventually(lambda: loop.ahead == [3, 4])
    with pytest.raises(LoopError, match="broken"):
        _ = array[3]


def test_running_ahead_stays_within_half_the_cache():
    frame = PIXELS[0].nbytes
    assert LoopArray(GatedLoop(), cache_bytes=6 * frame)._prefetch._ahead == 3
    assert LoopArray(GatedLoop(), cache_bytes=frame)._prefetch._ahead == 0
    assert LoopArray(GatedLoop(), ahead_frames=0)._prefetch._ahead == 0


def test_the_thread_ends_when_play_does_and_starts_again():
    loop = GatedLoop()
    loop.gate.set()
    array = LoopArray(loop, ahead_frames=2)
    for start in (0, 20):
        play(array, start, start + 1, start + 2)
        assert eventually(lambda start=start: start + 4 in loop.ahead)
        assert eventually(lambda: not array._prefetch._running)
    assert not any(thread.name == "frame prefetch" for thread in threading.enumerate())


def test_a_defect_while_running_ahead_is_not_hidden_and_ends_the_thread(monkeypatch):
    seen = []
    monkeypatch.setattr("threading.excepthook", lambda args: seen.append(args.exc_type))
    prefetch = Prefetch(10, lambda _frame: 1 / 0, ahead=2)
    for frame in range(3):
        prefetch.note(frame)
    assert eventually(lambda: seen == [ZeroDivisionError])
    assert not prefetch._running


def test_no_lock_is_held_while_decoding():
    cache, inside, free = FrameCache(1 << 20), threading.Event(), threading.Event()

    def slow(n: int) -> np.ndarray:
        inside.set()
        assert free.wait(PATIENCE_S)
        return PIXELS[n]

    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(cache.get, 0, slow)
        assert inside.wait(PATIENCE_S)
        assert cache.get(1, lambda n: PIXELS[n]) is not None  # another frame waits for nothing
        free.set()
        np.testing.assert_array_equal(first.result(), PIXELS[0])


def test_many_threads_get_the_right_frames_within_the_bound():
    loop = GatedLoop()
    loop.gate.set()
    array = LoopArray(loop, cache_bytes=5 * PIXELS[0].nbytes)
    order = np.random.default_rng(2).integers(0, 40, 400).tolist()
    with ThreadPoolExecutor(4) as pool:
        for n, frame in zip(order, pool.map(array.__getitem__, order), strict=True):
            np.testing.assert_array_equal(frame, PIXELS[n])
    assert array.cached_bytes <= 5 * PIXELS[0].nbytes
