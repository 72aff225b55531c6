"""A sweep of 5,000 files against pydicom reading the same attributes of them, in one run.

Processor time of one process each, in turns, so that whatever else the machine does hits both.
"""

import sys
import time
import tracemalloc
from pathlib import Path

import pytest
from pydicom import config, dcmread

from annot.loops.header_glance import KEYWORDS
from annot.tasks.check.sweep import sweep
from annot.tasks.rehearse.workers import Place
from tests.bench.archive import make_archive

FILES = 5000
MOST_OF_PYDICOM = 1.3
TURNS = 3


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("archive")
    make_archive(folder, FILES)
    return folder


def _pydicom(archive: Path) -> None:
    wanted = list(KEYWORDS.values())
    for path in archive.rglob("*.dcm"):
        dcmread(path, stop_before_pixels=True, specific_tags=wanted)


def say(text: str) -> None:
    sys.__stdout__.write(f"\n  {text}\n")


def _seconds(work) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def bench_sweep_against_pydicom(archive, tmp_path):
    pairs = []
    for turn in range(TURNS):
        ours = _seconds(lambda one=turn: sweep([archive], journal=tmp_path / f"{one}.jsonl"))
        pairs.append((ours, _seconds(lambda: _pydicom(archive))))
    ratios = sorted(ours / theirs for ours, theirs in pairs)
    turns = "; ".join(f"{a:.2f}, {b:.2f}" for a, b in pairs)
    say(f"{FILES} files, s of one core (sweep, pydicom): {turns}; ratio {ratios[TURNS // 2]:.2f}")
    assert not config.debugging
    assert ratios[TURNS // 2] <= MOST_OF_PYDICOM


def bench_memory_of_a_sweep(archive, tmp_path):
    """The peak of what Python holds, after a tenth of the archive and after all of it."""
    tenth = [archive / "000"]
    peaks = []
    sweep(tenth, journal=tmp_path / "first.jsonl")  # what is imported and cached once
    for number, paths in enumerate((tenth, [archive])):
        tracemalloc.start()
        sweep(paths, journal=tmp_path / f"m{number}.jsonl")
        peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
        tracemalloc.stop()
    say(f"peak memory of a sweep of 500 and of {FILES} files: {peaks[0]:.2f}, {peaks[1]:.2f} MB")
    assert peaks[1] < peaks[0] + 0.5


def bench_sweep_on_all_cores(archive, tmp_path):
    start = time.perf_counter()
    found = sweep([archive], journal=tmp_path / "all.jsonl", place=Place(workers=2))
    found_words = f"{sum(found.counts.values())} findings, {len(found.software)} software changes"
    say(f"{FILES} files with 2 processes: {time.perf_counter() - start:.1f} s, {found_words}")
    assert found.loops == FILES
