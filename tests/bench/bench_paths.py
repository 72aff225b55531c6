"""Ways to a frame, side by side: the bare codec, annot, pydicom with each decoder that reads it.

`make bench` prints one table per loop and task; the figures in brackets are ratios to the fastest.
"""

import random
import warnings
from collections.abc import Callable
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.pixels import iter_pixels, pixel_array

from annot.loops import LoopArray, open_loop, read_header
from tests.bench.loops import LOOPS, BenchLoop, write_bench_loop

WAYS = [
    pytest.param(loop, way, id=f"{loop.name} {way}")
    for loop in LOOPS
    for way in ("bare codec", "annot", *loop.peers)
]
FRAME_ROUNDS = 40


def _order(frames: int) -> Callable[[], int]:
    shuffled = random.Random(7).sample(range(frames), frames)
    position = count()
    return lambda: shuffled[next(position) % frames]


@pytest.fixture(scope="session")
def at(folder: Path) -> dict[str, Path]:
    return {loop.name: write_bench_loop(folder, loop) for loop in LOOPS}


def _reader(loop: BenchLoop, way: str, path: Path) -> Callable[[int], np.ndarray]:
    if way == "annot":
        return open_loop(path).frame
    if way == "bare codec":
        frames = open_loop(path)._source
        streams = [bytes(frames.stream(n)) for n in range(16)]
        return lambda n: loop.bare(streams[n % 16])

    def by_pydicom(n: int) -> np.ndarray:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return pixel_array(path, index=n, decoding_plugin=way)

    return by_pydicom


@pytest.mark.parametrize(("loop", "way"), WAYS)
def bench_random_frame(benchmark, at, loop, way):
    benchmark.group = f"random frame: {loop.name}"
    read, order = _reader(loop, way, at[loop.name]), _order(loop.shape[0])
    benchmark.pedantic(lambda: read(order()), rounds=FRAME_ROUNDS, warmup_rounds=3)


@pytest.mark.parametrize(("loop", "way"), WAYS)
def bench_full_pass(benchmark, at, loop, way):
    benchmark.group = f"full pass: {loop.name}"
    path = at[loop.name]

    def passed() -> None:
        if way == "annot":
            array = LoopArray(open_loop(path))
            for n in range(len(array)):
                _ = array[n]
        elif way == "bare codec":
            read = _reader(loop, way, path)
            for n in range(loop.shape[0]):
                read(n)
        else:
            for _ in iter_pixels(path, decoding_plugin=way):
                pass

    benchmark.pedantic(passed, rounds=1)


@pytest.mark.parametrize(("loop", "way"), [one for one in WAYS if "bare" not in one.id])
def bench_first_frame(benchmark, at, loop, way):
    benchmark.group = f"first frame, opening included: {loop.name}"
    path = at[loop.name]
    benchmark.pedantic(lambda: _reader(loop, way, path)(0), rounds=10, warmup_rounds=1)


@pytest.mark.parametrize("way", ["annot", "annot, a view", "memcpy", "pydicom"])
def bench_native_frame(benchmark, native, way):
    benchmark.group = "random frame: native 512² 16 bit"
    loop, order = open_loop(native), _order(150)
    if way == "memcpy":
        whole = np.asarray(LoopArray(loop))
        read = lambda n: whole[n].copy()  # noqa: E731  one of four ways
    elif way == "pydicom":
        read = lambda n: pixel_array(native, index=n)  # noqa: E731  one of four ways
    else:
        read = loop.frame if way == "annot" else loop.view
    benchmark.pedantic(lambda: read(order()), rounds=200, warmup_rounds=5)


@pytest.mark.parametrize("way", ["annot", "pydicom, without pixels", "pydicom, all"])
def bench_header(benchmark, long_loop, way):
    benchmark.group = "header of a loop of 600 frames"
    path = long_loop[1]
    read = {
        "annot": lambda: read_header(path),
        "pydicom, without pixels": lambda: dcmread(path, stop_before_pixels=True),
        "pydicom, all": lambda: dcmread(path),
    }[way]
    benchmark.pedantic(read, rounds=20, warmup_rounds=2)
