"""The study of readings: whether whole measurements hold the truth as often as they say."""

from collections.abc import Sequence

from annot.tasks.rehearse.reading_case import DRAWN, JITTERED, run_reading_case
from annot.tasks.rehearse.report import (
    StudyReport,
    cells_bar,
    cells_of,
    coverage_bar,
    refusals_of,
)
from annot.tasks.rehearse.study import Study
from annot.tasks.rehearse.tally import tally
from annot.tasks.rehearse.trial import Trial

READING = Study(
    name="reading",
    run=run_reading_case,
    drawn=DRAWN,
    cells=(
        (),
        ("modality",),
        ("quantity",),
        ("object",),
        ("modality", "quantity"),
        ("modality", "quantity", "size"),
    ),
)


def reading_study(study: Study, trials: Sequence[Trial], *, cases: int, seed: int) -> StudyReport:
    """Return what the trials of a reading study come to, with a verdict per bar."""
    cells = cells_of(trials, study.cells)
    jittered = [one for one in trials if one.arm == JITTERED]
    return StudyReport(
        study=study.name,
        seed=seed,
        cases=cases,
        drawn=study.drawn,
        cells=cells,
        bars=(
            coverage_bar(tally(jittered), what=JITTERED),
            cells_bar([one for one in cells if one.arm == JITTERED], what=JITTERED),
        ),
        refusals=refusals_of(trials),
    )
