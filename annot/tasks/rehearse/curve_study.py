"""The study of curves: whether a largest found among noisy frames holds the true one."""

from collections.abc import Sequence

from annot.tasks.rehearse.curve_case import ARM, DRAWN, run_curve_case
from annot.tasks.rehearse.report import StudyReport, cells_bar, cells_of, coverage_bar, refusals_of
from annot.tasks.rehearse.study import Study
from annot.tasks.rehearse.tally import grouped, tally
from annot.tasks.rehearse.trial import Trial

CURVE = Study(
    name="curve",
    run=run_curve_case,
    drawn=DRAWN,
    cells=(
        ("quantity",),
        ("quantity", "shape"),
        ("quantity", "noise"),
        ("quantity", "noise over time"),
        ("quantity", "noise", "noise over time"),
    ),
)


def curve_study(study: Study, trials: Sequence[Trial], *, cases: int, seed: int) -> StudyReport:
    """Return what the trials of a curve study come to, with verdicts for each quantity."""
    cells = cells_of(trials, study.cells)
    bars = []
    for (quantity,), own in grouped(trials, ("quantity",)).items():
        same = [one for one in cells if one.arm == ARM and one.labels["quantity"] == quantity]
        bars += [coverage_bar(tally(own), what=quantity), cells_bar(same, what=quantity)]
    return StudyReport(
        study=study.name,
        seed=seed,
        cases=cases,
        drawn=study.drawn,
        cells=cells,
        bars=tuple(bars),
        refusals=refusals_of(trials),
    )
