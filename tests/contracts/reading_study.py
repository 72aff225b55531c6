"""A study read by several programs at once, of which one is killed ever again at random."""

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from annot.store import Query, connect
from tests.contracts.store_reader import CORRECTED_EVERY, COUNTED_EVERY, STUDY, TALLY


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPlan:
    """How many readers read how many loops, and how often one is killed.

    After `most_kills` none is: a program killed again before it has begun would never end.
    """

    readers: int
    loops: int
    kill_every_s: float
    most_kills: int
    pause_s: float
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyOutcome:
    """What a study left in its store, beside what it should have."""

    kills: int
    seconds: float
    events: int
    lost: frozenset[str]
    strange: frozenset[str]
    doubled: int
    tally: int
    tally_wanted: int
    stale: int
    fault: str


def run_study(url: str, plan: StudyPlan) -> StudyOutcome:
    """Read the study to its end, killed readers started anew, and look at what is kept."""
    connect(url).close()
    start = time.monotonic()
    kills = _read_all(url, plan)
    seconds = time.monotonic() - start
    store = connect(url)
    history = list(store.read(Query(study=STUDY, history=True)))
    current = {one.record.key: one for one in store.read(Query(study=STUDY))}
    report = store.verify_chain(STUDY)
    store.close()
    tokens, wanted = [one.token for one in history], set(_tokens(plan))
    tally = current[TALLY].record.body
    corrected = {f"R{reader}-{loop}" for reader, loop in _corrected(plan)}
    assert isinstance(tally, dict)
    return StudyOutcome(
        kills=kills,
        seconds=seconds,
        events=report.events,
        lost=frozenset(wanted - set(tokens)),
        strange=frozenset(set(tokens) - wanted),
        doubled=len(tokens) - len(set(tokens)),
        tally=int(str(tally["count"])),
        tally_wanted=plan.readers * len(range(0, plan.loops, COUNTED_EVERY)),
        stale=sum(current[key].version != 2 for key in corrected if key in current),
        fault=report.fault,
    )


def _corrected(plan: StudyPlan) -> Iterator[tuple[int, int]]:
    for reader in range(plan.readers):
        yield from ((reader, loop) for loop in range(0, plan.loops, CORRECTED_EVERY))


def _tokens(plan: StudyPlan) -> Iterator[str]:
    for reader in range(plan.readers):
        yield from (f"R{reader}-{loop}" for loop in range(plan.loops))
        yield from (f"R{reader}-{loop}-counted" for loop in range(0, plan.loops, COUNTED_EVERY))
    yield from (f"R{reader}-{loop}-corrected" for reader, loop in _corrected(plan))


def _read_all(url: str, plan: StudyPlan) -> int:
    """Run every reader to its end; return how often one was killed."""
    rng = random.Random(plan.seed)
    running = {f"R{n}": _start(url, f"R{n}", plan) for n in range(plan.readers)}
    kills, moment = 0, time.monotonic() + rng.uniform(0.5, 1.5) * plan.kill_every_s
    while running:
        for reader, program in list(running.items()):
            if program.poll() is None:
                continue
            assert program.stderr is not None
            complaint = program.stderr.read().decode()
            program.stderr.close()
            del running[reader]
            if program.returncode < 0:
                running[reader] = _start(url, reader, plan)
            elif program.returncode:
                raise RuntimeError(complaint)
        if running and kills < plan.most_kills and time.monotonic() > moment:
            running[rng.choice(sorted(running))].kill()
            kills += 1
            moment = time.monotonic() + rng.uniform(0.5, 1.5) * plan.kill_every_s
        time.sleep(0.02)
    return kills


def _start(url: str, reader: str, plan: StudyPlan) -> subprocess.Popen[bytes]:
    words = (url, reader, str(plan.loops), str(plan.pause_s))
    return subprocess.Popen(
        [sys.executable, "-m", "tests.contracts.store_reader", *words],
        cwd=Path(__file__).parents[2],
        stderr=subprocess.PIPE,
    )
