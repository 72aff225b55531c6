"""`annot validate`: studies of known truth, which show whether intervals keep their word."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from annot.cli.printing import say, say_caution, say_json, say_table
from annot.tasks.rehearse import (
    CAUTION_OF_STUDIES,
    CURVE,
    READING,
    SCALE_KINDS,
    Cell,
    Place,
    Study,
    StudyReport,
    Trial,
    curve_study,
    reading_study,
    run_case,
    run_study,
    scale_study,
    write_plots,
)

validate = typer.Typer(
    name="validate",
    help="Measure rendered cases of known truth, and count how often the intervals hold it.",
    no_args_is_help=True,
)
MOST_LABELS_PRINTED = 2  # finer cells stand in --json and in the pictures

Cases = Annotated[int, typer.Option(min=1, help="how many independent cases")]
Seed = Annotated[int, typer.Option(min=0, help="another seed draws other cases")]
One = Annotated[int | None, typer.Option("--case", min=0, help="run and print this case alone")]
Workers = Annotated[int | None, typer.Option(min=1, help="processes; default: one per core")]
Scheduler = Annotated[str | None, typer.Option(help="address of a Dask scheduler to run on")]
Kept = Annotated[
    Path | None, typer.Option("--journal", help="keep finished cases here, and go on from it")
]
Plots = Annotated[Path | None, typer.Option(help="write pictures into this folder")]
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]
Judge = Callable[..., StudyReport]


@validate.command()
def scale(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    kind: Annotated[str, typer.Option(help=f"object: {', '.join(SCALE_KINDS)}")] = "catheter",
    cases: Cases = 2400,
    seed: Seed = 1,
    case: One = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    journal: Kept = None,
    plots: Plots = None,
    json: Json = False,
) -> None:
    """Scale rendered objects of known size: bias, scatter against its bound, coverage."""
    if kind not in SCALE_KINDS:
        raise typer.BadParameter(f"--kind takes {', '.join(SCALE_KINDS)}, not '{kind}'")
    study = SCALE_KINDS[kind]
    if case is not None:
        _say_case(study, case, seed=seed, json=json)
        return
    trials = _run(study, cases, seed, place=_place(workers, scheduler), journal=journal)
    _say_report(scale_study(study, trials, cases=cases, seed=seed), trials, plots, json=json)


@validate.command()
def reading(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    cases: Cases = 2400,
    seed: Seed = 1,
    case: One = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    journal: Kept = None,
    plots: Plots = None,
    json: Json = False,
) -> None:
    """Measure invented patients from object to caliper: bias, scatter, coverage."""
    if case is not None:
        _say_case(READING, case, seed=seed, json=json)
        return
    trials = _run(READING, cases, seed, place=_place(workers, scheduler), journal=journal)
    _say_report(reading_study(READING, trials, cases=cases, seed=seed), trials, plots, json=json)


@validate.command()
def curve(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    cases: Cases = 2400,
    seed: Seed = 1,
    case: One = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    journal: Kept = None,
    plots: Plots = None,
    json: Json = False,
) -> None:
    """Find the largest and smallest of invented noisy curves: bias, scatter, coverage."""
    if case is not None:
        _say_case(CURVE, case, seed=seed, json=json)
        return
    trials = _run(CURVE, cases, seed, place=_place(workers, scheduler), journal=journal)
    _say_report(curve_study(CURVE, trials, cases=cases, seed=seed), trials, plots, json=json)


def _place(workers: int | None, scheduler: str | None) -> Place:
    return Place(workers=workers or os.cpu_count() or 1, scheduler=scheduler)


def _run(
    study: Study, cases: int, seed: int, *, place: Place, journal: Path | None
) -> tuple[Trial, ...]:
    with _watched(study.name) as tell:
        return run_study(
            study,
            cases=cases,
            seed=seed,
            place=place,
            journal=journal,
            progress=tell,
        )


@contextmanager
def _watched(name: str) -> Iterator[Callable[[int, int], None]]:
    """Show progress on a terminal, and nothing in a pipe."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda _done, _all: None
        return
    columns = (TextColumn(name), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task(name)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _say_case(study: Study, case: int, *, seed: int, json: bool) -> None:
    trials = run_case(study, case, seed=seed)
    if json:
        say_json({"study": study.name, "seed": seed, "trials": [one.as_json() for one in trials]})
        return
    say_table(
        f"{study.name}, seed {seed}, case {case}",
        ("arm", "of", ">value ± u", ">95 % interval", ">true", "unit", "holds"),
        [_trial_row(one) for one in trials],
    )
    say(CAUTION_OF_STUDIES)


def _trial_row(one: Trial) -> tuple[str, ...]:
    words = ", ".join(f"{name} {text}" for name, text in one.labels.items())
    if one.value is None or one.low is None or one.high is None:
        return (one.arm, words, one.refusal, "–", f"{one.true:.5g}", one.unit, "–")
    return (
        one.arm,
        words,
        f"{one.value:.5g} ± {one.u:.2g}",
        f"{one.low:.5g} to {one.high:.5g}",
        f"{one.true:.5g}",
        one.unit,
        "yes" if one.holds else "NO",
    )


def _say_report(
    report: StudyReport, trials: tuple[Trial, ...], plots: Path | None, *, json: bool
) -> None:
    written = write_plots(report, trials, plots) if plots is not None else ()
    if json:
        say_json({**report.as_dict(), "pictures": [str(path) for path in written]})
        return
    say_table(
        f"{report.study}: {report.cases} cases, seed {report.seed}",
        (
            "arm",
            "cell",
            ">answers",
            ">refused",
            ">bias, %",
            ">scatter, %",
            ">median u, %",
            ">held, % (95 % limits)",
            ">error/bound",
            ">naive bias, %",
        ),
        [_cell_row(one) for one in _printed(report)],
    )
    for sentence, count in report.refusals.items():
        say(f"refused {count} times: {sentence}")
    say_table(
        "What was asked, and what was seen",
        ("verdict", "asked", "seen"),
        [(bar.verdict, bar.asked, bar.seen) for bar in report.bars],
    )
    for path in written:
        say(f"Picture: {path}")
    say(CAUTION_OF_STUDIES)
    say_caution()


def _printed(report: StudyReport) -> list[Cell]:
    """Return the coarse cells of the first arm, and the coarsest of the others."""
    first = report.cells[0].arm
    return [
        one
        for one in report.cells
        if len(one.labels) <= (MOST_LABELS_PRINTED if one.arm == first else 1)
    ]


def _cell_row(cell: Cell) -> tuple[str, ...]:
    found = cell.tally
    counts = (cell.arm, cell.words, str(found.answered), str(found.refused))
    if found.coverage is None or found.coverage_low is None or found.coverage_high is None:
        return (*counts, *["–"] * 6)
    return (
        *counts,
        _percent(found.bias_rel, found.u_bias_rel),
        _percent(found.scatter_rel),
        _percent(found.u_rel),
        f"{100 * found.coverage:.1f} ({100 * found.coverage_low:.1f} to "
        f"{100 * found.coverage_high:.1f})",
        "–" if found.over_bound is None else f"{found.over_bound:.2f}",
        _percent(found.naive_bias_rel),
    )


def _percent(value: float | None, u: float | None = None) -> str:
    if value is None:
        return "–"
    return f"{100 * value:.2f}" + ("" if u is None else f" ± {100 * u:.2f}")
