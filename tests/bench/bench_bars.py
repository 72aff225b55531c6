"""The bars that the frame engine has to clear, measured side by side in one run.

What is compared alternates call by call, and what is counted is the time that this thread computes
or copies, not the time it waits for other programs: a busy machine slows both sides alike. The
files lie in the system's cache. The ratios are those of medians.
"""

import os
import random
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from annot.loops import (
    DisplayChoice,
    LoopArray,
    ShownLoop,
    Window,
    open_loop,
    read_header,
)
from annot.loops.display import Shutter
from annot.loops.subtraction import AVERAGE, MaskOperation

RANDOM_FRAME_RATIO = 1.15
NATIVE_RATIO = 3.0
FIRST_FRAME_DECODES = 1.5
SHOWN_RATIO = 2.0
CACHE_BYTES = 64 << 20
MEMORY_OVER_CACHE = 150e6


def _seconds(work: Callable[[], object]) -> float:
    start = time.thread_time()
    work()
    return time.thread_time() - start


def _medians(works: list[Callable[[], object]], rounds: int) -> list[float]:
    times = [[_seconds(work) for work in works] for _ in range(rounds)]
    return [statistics.median(column) for column in zip(*times[2:], strict=True)]


def _note(text: str) -> None:
    load = os.getloadavg()[0]
    sys.__stdout__.write(f"\n  {text} (load {load:.1f})\n")


def bench_a_random_compressed_frame_costs_little_more_than_its_decoding(written):
    bench_loop, path = written
    loop = open_loop(path)
    # Every frame's own bytes: a few kept ones would stay in the processor's cache.
    streams = [bytes(loop._source.stream(n)) for n in range(loop.frames)]
    pick = random.Random(3).randrange
    bare_s, own_s = _medians(
        [
            lambda: bench_loop.bare(streams[pick(loop.frames)]),
            lambda: loop.frame(pick(loop.frames)),
        ],
        80,
    )
    ratio = own_s / bare_s
    _note(f"{bench_loop.name}: {own_s * 1e3:.2f} ms, bare {bare_s * 1e3:.2f} ms, ×{ratio:.3f}")
    assert ratio <= RANDOM_FRAME_RATIO


def bench_a_native_frame_costs_little_more_than_a_memcpy(native):
    import numpy as np

    loop = open_loop(native)
    whole, target = np.asarray(LoopArray(loop)), np.empty(loop.shape[1:], loop.dtype)
    pick = random.Random(3).randrange
    works = [
        lambda: np.array(whole[pick(loop.frames)]),
        lambda: np.copyto(target, whole[pick(loop.frames)]),
        lambda: loop.frame(pick(loop.frames)),
        lambda: loop.view(pick(loop.frames)),
    ]
    copy_s, into_s, own_s, view_s = _medians(works, 300)
    _note(
        f"native: {own_s * 1e6:.0f} µs, memcpy to a new array {copy_s * 1e6:.0f} µs "
        f"(×{own_s / copy_s:.2f}), to a kept one {into_s * 1e6:.0f} µs (×{own_s / into_s:.2f}); "
        f"a view {view_s * 1e6:.0f} µs"
    )
    assert own_s <= NATIVE_RATIO * copy_s
    assert own_s <= NATIVE_RATIO * into_s


def bench_the_first_frame_waits_for_header_index_and_itself_only(long_loop):
    bench_loop, path = long_loop
    loop = open_loop(path)
    assert loop.frames == 600
    stream = bytes(loop._source.stream(0))
    opened = []
    works = [
        lambda: read_header(path),
        lambda: bench_loop.bare(stream),
        lambda: opened.append(open_loop(path)),
        lambda: opened.pop().frame(0),
    ]
    header_s, bare_s, opened_s, frame_s = _medians(works, 30)
    _note(
        f"first of 600: {(opened_s + frame_s) * 1e3:.1f} ms = header {header_s * 1e3:.1f} + index "
        f"{(opened_s - header_s) * 1e3:.1f} + {frame_s / bare_s:.2f} decodes of "
        f"{bare_s * 1e3:.1f} ms"
    )
    assert frame_s <= FIRST_FRAME_DECODES * bare_s


@pytest.mark.parametrize("subtracted", [False, True], ids=["by a sigmoid", "subtracted"])
def bench_showing_a_frame_costs_less_than_decoding_it(long_loop, subtracted):
    """With a shutter over it, so that every grey is made here and none by the screen."""
    loop = open_loop(long_loop[1])
    loop.display = replace(
        loop.display,
        windows=(Window(centre=2000, width=900, function="SIGMOID"),),
        shutter=Shutter(circle=(256.0, 256.0, 250.0)),
    )
    loop.masks = (MaskOperation(operation=AVERAGE, mask_frames=(0, 1)),)
    shown = ShownLoop(loop, DisplayChoice(subtracted=subtracted))
    picks = iter(random.Random(3).choices(range(loop.frames), k=400))
    plain_s, shown_s = _medians(
        [lambda: loop.frame(next(picks)), lambda: shown.frame(next(picks))], 80
    )
    _note(f"shown {shown_s * 1e3:.2f} ms, decoded only {plain_s * 1e3:.2f} ms")
    assert shown_s <= SHOWN_RATIO * plain_s


# Steps through a loop in a process of its own; what it prints last is the cache's part.
_WAYS = {
    "nothing decoded": """
import pydicom.pixels
from annot.loops import LoopArray, open_loop
array = LoopArray(open_loop(path))
""",
    "annot": """
from annot.loops import LoopArray, open_loop
array = LoopArray(open_loop(path), cache_bytes=cache_bytes)
for n in range(len(array)):
    array[n]
print(array.cached_bytes)
""",
    "pydicom, frame by frame": """
from pydicom.pixels import pixel_array
for n in range(frames):
    pixel_array(path, index=n, decoding_plugin="gdcm")
""",
    "pydicom, dataset kept": """
from pydicom import dcmread
from pydicom.pixels import pixel_array
dataset = dcmread(path)
for n in range(frames):
    pixel_array(dataset, index=n, decoding_plugin="gdcm")
""",
    "pydicom, whole loop": """
from pydicom.pixels import pixel_array
whole = pixel_array(path, decoding_plugin="gdcm")
for n in range(frames):
    whole[n]
""",
}


def _peak_anonymous(way: str, path: Path, frames: int) -> tuple[int, str]:
    """Run a way and watch its memory from outside, without the pages that files are mapped to."""
    known = f"path, frames, cache_bytes = {str(path)!r}, {frames}, {CACHE_BYTES}"
    with subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", f"{known}\n{_WAYS[way]}"],
        stdout=subprocess.PIPE, text=True,
    ) as child:  # fmt: skip
        most, status = 0, Path(f"/proc/{child.pid}/status")
        while child.poll() is None:
            held = re.search(r"RssAnon:\s+(\d+)", status.read_text())
            most = max(most, int(held.group(1)) * 1024 if held else 0)
            time.sleep(0.002)
        printed = child.stdout.read() if child.stdout else ""
    assert child.returncode == 0
    return most, printed


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's /proc")
@pytest.mark.parametrize("frames", [150, 600])
def bench_memory_does_not_grow_with_the_loop(folder, frames):
    from tests.bench.loops import LOOPS, write_bench_loop

    path = write_bench_loop(folder, LOOPS[0], frames=frames)
    peaks = {way: _peak_anonymous(way, path, frames) for way in _WAYS}
    most, printed = peaks["annot"]
    cached = int(printed)
    _note(
        f"peak memory of the whole process, {frames} frames, cache {cached / 1e6:.0f} of "
        f"{CACHE_BYTES / 1e6:.0f} MB: "
        + ", ".join(f"{way} {peak / 1e6:.0f} MB" for way, (peak, _) in peaks.items())
    )
    assert cached <= CACHE_BYTES
    assert most <= CACHE_BYTES + MEMORY_OVER_CACHE
    assert most < peaks["pydicom, whole loop"][0]
