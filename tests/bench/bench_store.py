"""The store's bars: eight readers at once of whom one is killed ever again, and 100,000 readings.

`make bench` runs them on SQLite and on a PostgreSQL of their own.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench.bench_bars import _note
from tests.contracts.postgres import Postgres, newest_programs
from tests.contracts.reading_study import StudyPlan, run_study

FULL = StudyPlan(readers=8, loops=200, kill_every_s=2.0, most_kills=40, pause_s=0.1, seed=11)
READINGS = 100_000
# what ten times the readings may add to the process: the check of a chain remembers each key's
# version, so that it finds one that was left out; nothing else grows
MEMORY_MB = 60.0
# an index grows by its logarithm, and other guests of the machine disturb
LINEAR = 1.4


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


def bench_a_hundred_thousand_readings_go_in_and_out(url, tmp_path):
    """Appended, verified, carried out and into another store, and written as a table.

    A process of its own does it for a tenth and for all: seconds per reading must stay, and so
    must the memory that each step adds to the process, the database's own included.
    """
    few, many = (_traffic(url, count, tmp_path) for count in (READINGS // 10, READINGS))
    for step, (seconds, _) in many.items():
        ratio = seconds / few[step][0] / 10
        _note(
            f"{READINGS} readings, {url.split(':')[0][:10]}, {step}: {seconds:.1f} s of the "
            f"processor, {ratio:.2f} of a tenth's rate; process {many[step][1]:.0f} MB, "
            f"{few[step][1]:.0f} MB for a tenth"
        )
    for step, (seconds, megabytes) in many.items():
        assert seconds < LINEAR * 10 * few[step][0], step
        assert megabytes - few[step][1] < MEMORY_MB, step


def _traffic(url: str, count: int, folder: Path) -> dict[str, tuple[float, float]]:
    words = [sys.executable, "-m", "tests.bench.readings_traffic", url, str(count)]
    done = subprocess.run(
        [*words, str(folder / str(count))],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 0, done.stderr
    return {step: (seconds, megabytes) for step, seconds, megabytes in json.loads(done.stdout)}
