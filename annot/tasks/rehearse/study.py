"""A study: many independent cases of known truth, each run as a user would and counted."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from annot.calibration.identity import short_hash
from annot.errors import AnnotError
from annot.exports.table import protocol_hash
from annot.tasks.rehearse.journal import Journal, JournalHead
from annot.tasks.rehearse.trial import Trial
from annot.tasks.rehearse.workers import Place, finished

if TYPE_CHECKING:
    import numpy as np

CaseRun = Callable[[int, "np.random.Generator"], Sequence[Trial]]
Progress = Callable[[int, int], None]
HERE = Place()


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What is rehearsed.

    Attributes
    ----------
    name : str
        As in journals and answers.
    run : callable
        Takes a case number and its generator of chance, gives the case's trials; importable by
        name. Whatever a case draws comes from that generator alone.
    drawn : mapping of str to str
        What every case draws, and from which distribution.
    cells : tuple of tuples of str
        Labels by which the answers are cut into cells.
    """

    name: str
    run: CaseRun
    drawn: Mapping[str, str]
    cells: tuple[tuple[str, ...], ...]


def chance_of(seed: int, case: int) -> "np.random.Generator":
    """Return a case's own generator: the case-th child that the seed's sequence spawns.

    By its key alone, so that any case runs without those before it
    (numpy.random.SeedSequence.spawn gives child n the spawn key (n,)).
    """
    import numpy as np

    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(case,)))


def run_case(study: Study, case: int, *, seed: int) -> tuple[Trial, ...]:
    """Run one case alone; it gives what it gives within a study of the same seed."""
    return tuple(study.run(case, chance_of(seed, case)))


def run_study(
    study: Study,
    *,
    cases: int,
    seed: int = 1,
    place: Place = HERE,
    journal: Path | None = None,
    progress: Progress = lambda _done, _all: None,
) -> tuple[Trial, ...]:
    """Run the cases 0 to `cases` - 1 that a journal does not hold yet.

    Parameters
    ----------
    study : Study
    cases : int
    seed : int
        Of the whole study.
    place : Place
        Where cases run; in this process unless said otherwise.
    journal : Path, optional
        Kept and continued; a killed run loses at most the cases that were running.
    progress : callable
        Told the number of finished cases and of all.

    Returns
    -------
    tuple of Trial
        In the order of the cases, whatever the order they were finished in.
    """
    head = JournalHead(
        study=study.name,
        seed=seed,
        version=version("annot"),
        rules=f"{protocol_hash()}-{short_hash(sorted(study.drawn.items()))}",
    )
    with Journal(journal, head) as kept:
        open_cases = [case for case in range(cases) if case not in kept.finished]
        done = cases - len(open_cases)
        progress(done, cases)
        run = partial(_numbered, study, seed)
        for case, trials in finished(run, open_cases, place):
            kept.add(case, trials)
            done += 1
            progress(done, cases)
        return tuple(chain.from_iterable(kept.finished[case] for case in range(cases)))


def _numbered(study: Study, seed: int, case: int) -> tuple[Trial, ...]:
    """Run a case, and name it where it breaks: a defect, and not a refusal."""
    try:
        return run_case(study, case, seed=seed)
    except (ArithmeticError, ValueError) as defect:
        raise AnnotError(
            f"{study.name}: case {case} of seed {seed} broke off ({defect}): a defect; run it "
            f"alone with --case {case} and report it."
        ) from defect
