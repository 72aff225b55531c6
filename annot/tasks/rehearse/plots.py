"""Write the pictures of a study into a folder."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from annot.errors import InputError
from annot.exports import PNG, write_whole
from annot.exports.study_figures import CoveragePoint, ErrorGroup, coverage_png, errors_png
from annot.tasks.rehearse.report import CAUTION_OF_STUDIES, COVERAGE_ASKED, Cell, StudyReport
from annot.tasks.rehearse.trial import Trial

MOST_ROWS = 60


def write_plots(report: StudyReport, trials: Sequence[Trial], folder: Path) -> tuple[Path, ...]:
    """Write two pictures per arm: coverage by cell, and errors against stated uncertainty.

    Returns
    -------
    tuple of Path
        What was written; an arm without answers has no picture.

    Raises
    ------
    InputError
        If the folder cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(f"{folder}: the folder cannot be made: {fault.strerror}.") from None
    written = []
    for arm in dict.fromkeys(one.arm for one in trials):
        own = [one for one in trials if one.arm == arm and one.error_rel is not None]
        cells = [one for one in report.cells if one.arm == arm and one.tally.answered]
        if not own:
            continue
        stem = f"{report.study}-{arm.replace(' ', '-')}"
        words = f"{report.study}, {arm}, seed {report.seed}, {report.cases} cases"
        pictures = {
            f"{stem}-coverage.png": coverage_png(
                [_point(one) for one in cells[:MOST_ROWS]],
                title=f"Coverage: {words}",
                asked=COVERAGE_ASKED,
                caption=CAUTION_OF_STUDIES,
            ),
            f"{stem}-errors.png": errors_png(
                _groups(own), title=f"Errors: {words}", caption=CAUTION_OF_STUDIES
            ),
        }
        for name, content in pictures.items():
            write_whole(folder / name, content, replaces=PNG)
            written.append(folder / name)
    return tuple(written)


def _point(cell: Cell) -> CoveragePoint:
    found = cell.tally
    assert found.coverage is not None
    assert found.coverage_low is not None
    assert found.coverage_high is not None
    return CoveragePoint(
        label=cell.words,
        count=found.answered,
        coverage=found.coverage,
        low=found.coverage_low,
        high=found.coverage_high,
    )


def _groups(trials: Sequence[Trial]) -> list[ErrorGroup]:
    def words(one: Trial) -> str:
        return " ".join(one.labels[name] for name in ("quantity", "modality") if name in one.labels)

    groups = []
    for label in dict.fromkeys(words(one) for one in trials):
        own = [one for one in trials if words(one) == label]
        groups.append(
            ErrorGroup(
                label=label,
                error_rel=np.array([one.error_rel for one in own], dtype=float),
                u_rel=np.array([one.u_rel for one in own], dtype=float),
            )
        )
    return groups
