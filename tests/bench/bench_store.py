"""The store's bars: eight readers at once of whom one is killed ever again, and 100,000 readings.

`make bench` runs them on SQLite and on a PostgreSQL of their own.
"""

import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from annot.exports import COLUMNS, CSV, write_whole
from annot.exports.csv_file import csv_lines
from annot.store import Intent, Query, Record, Store, connect
from tests.bench.bench_bars import _note
from tests.contracts.postgres import Postgres, newest_programs
from tests.contracts.reading_study import StudyPlan, run_study

FULL = StudyPlan(readers=8, loops=200, kill_every_s=2.0, most_kills=40, pause_s=0.1, seed=11)
READINGS, BATCH = 100_000, 500
MEMORY_BYTES = 60e6
# the second half may take this much longer than the first before growth is more than linear
HALVES_RATIO = 1.35
AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def postgres() -> Iterator[Postgres]:
    if newest_programs() is None:
        pytest.skip("PostgreSQL is not installed: `make core` installs it")
    folder = Path("/tmp") / f"annot-pg-{os.getpid()}"
    folder.mkdir()
    server = Postgres(folder)
    yield server
    server.stop()
    subprocess.run(["rm", "-rf", str(folder)], check=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "sqlite":
        return str(tmp_path / "store.db")
    return str(request.getfixturevalue("postgres").database())


def bench_a_study_of_eight_readers_and_two_hundred_loops(url):
    done = run_study(url, FULL)
    _note(
        f"8 readers x 200 loops on {url.split(':')[0][:10]}: {done.kills} kills in "
        f"{done.seconds:.0f} s, {done.events} events, {len(done.lost)} lost, {done.doubled} "
        f"doubled, tally {done.tally} of {done.tally_wanted}"
    )
    assert done.kills > 0
    assert not done.fault
    assert (done.lost, done.strange, done.doubled) == (frozenset(), frozenset(), 0)
    assert done.tally == done.tally_wanted
    assert done.stale == 0


def _intents(numbers: range) -> list[Intent]:
    row = {column.name: "as a table's cell" for column in COLUMNS} | {"value": 21.4, "u": 0.5}
    return [
        Intent(
            record=Record(study="S", kind="reading", key=f"r{n}", body={"row": {**row, "n": n}}),
            token=f"t{n}",
            actor="A",
            at=AT,
        )
        for n in numbers
    ]


def _append(store: Store, numbers: range) -> float:
    """Add readings in batches; return the seconds it took."""
    start = time.perf_counter()
    for first in range(numbers.start, numbers.stop, BATCH):
        store.append(*_intents(range(first, min(first + BATCH, numbers.stop))))
    return time.perf_counter() - start


def bench_a_hundred_thousand_readings_go_in_and_out(url, tmp_path):
    """Appended, verified, carried out, carried into another store, and written as a table."""
    store = connect(url)
    half = READINGS // 2
    tracemalloc.start()
    halves = [_append(store, range(half)), _append(store, range(half, READINGS))]
    seconds = {"append": sum(halves)}
    peaks = {"append": _peak()}

    def timed(name, work):
        start = time.perf_counter()
        answer = work()
        seconds[name], peaks[name] = time.perf_counter() - start, _peak()
        return answer

    chain, table = tmp_path / "chain.jsonl", tmp_path / "table.csv"
    report = timed("verify", lambda: store.verify_chain("S"))
    timed("chain out", lambda: write_whole(chain, store.lines_of_chain("S"), replaces=b"{"))
    other = connect(str(tmp_path / "other.db"))
    with chain.open(encoding="utf-8") as lines:
        head = timed("chain in", lambda: other.take_chain(lines, name="chain"))
    rows = (one.record.body["row"] for one in store.read(Query(study="S", kind="reading")))
    names = [column.name for column in COLUMNS]
    timed("table out", lambda: write_whole(table, csv_lines(rows, names), replaces=CSV))
    tracemalloc.stop()
    figures = ", ".join(
        f"{name} {seconds[name]:.0f} s and {peaks[name] / 1e6:.0f} MB" for name in seconds
    )
    _note(
        f"{READINGS} readings on {url.split(':')[0][:10]}, traced: {figures}; second half took "
        f"{halves[1] / halves[0]:.2f} of the first"
    )
    store.close()
    other.close()
    assert report.events == READINGS
    assert head == report.head
    assert sum(1 for _ in table.open(encoding="utf-8")) == READINGS + 1
    assert halves[1] / halves[0] < HALVES_RATIO
    assert max(peaks.values()) < MEMORY_BYTES


def _peak() -> float:
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.reset_peak()
    return peak


GROWTH = """
import resource, sys
from annot.exports.csv_file import csv_lines
from annot.exports import COLUMNS, write_whole, CSV
from annot.store import Query, connect
from pathlib import Path
store = connect(sys.argv[1])
rows = (one.record.body["row"] for one in store.read(Query(study="S", kind="reading")))
write_whole(Path(sys.argv[2]), csv_lines(rows, [one.name for one in COLUMNS]), replaces=CSV)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def bench_a_process_that_writes_a_table_stays_as_small_for_ten_times_the_readings(tmp_path):
    """Resident memory of the whole process, the database's own included."""
    sizes = []
    for count in (READINGS // 10, READINGS):
        path = tmp_path / f"{count}.db"
        store = connect(str(path))
        _append(store, range(count))
        store.close()
        words = [sys.executable, "-c", GROWTH, str(path), str(tmp_path / f"{count}.csv")]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        sizes.append(int(done.stdout) / 1e3)
    _note(f"table out, whole process: {sizes[0]:.0f} MB of 10,000, {sizes[1]:.0f} MB of 100,000")
    assert sizes[1] - sizes[0] < MEMORY_BYTES / 1e6
