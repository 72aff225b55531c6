"""`annot check sweep`: look through a whole archive, headers only."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from annot.cli.printing import say, say_json, say_table
from annot.errors import InputError

if TYPE_CHECKING:
    from annot.quality.judgement import CheckedValue
    from annot.tasks.check.register import Check
    from annot.tasks.check.sweep_summary import SweepSummary

MOST_PRINTED = 40
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]


def sweep(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    paths: Annotated[list[Path], typer.Argument(help="files, folders, zip archives")],
    journal: Annotated[
        Path | None, typer.Option(help="keep what is found here, and go on from it")
    ] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="write every finding as CSV")
    ] = None,
    reads: Annotated[
        list[Path] | None,
        typer.Option("--read", help="a read file with reference objects: header against object"),
    ] = None,
    store: Annotated[
        str | None, typer.Option(help="a register whose checks count as objects in their loops")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(min=1, help="processes; default: one per core")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(help="address of a Dask scheduler to run on")
    ] = None,
    json: Json = False,
) -> None:
    """List loops whose header scale or timing is missing, contradictory or implausible."""
    from annot.tasks.check.header_against_object import scores_of_checks, scores_of_reads
    from annot.tasks.check.sweep import sweep as task
    from annot.tasks.check.sweep_summary import write_findings
    from annot.tasks.rehearse.workers import Place

    if output is not None and journal is None:
        raise InputError("A list of all findings is made from a journal: name one with --journal.")
    place = Place(workers=workers or os.cpu_count() or 1, scheduler=scheduler)
    known = _checked(store) if store else {}
    with _watched() as tell:
        found = task(paths, journal=journal, place=place, progress=tell, watch=known)
    scores = scores_of_reads(reads or []) + scores_of_checks(known, found.met)
    if output is not None and journal is not None:
        write_findings(journal, output)
    if json:
        say_json({**found.as_dict(), "header_against_object": scores})
        return
    _say(found)
    _say_scores(scores)


def _checked(store: str) -> "dict[str, list[tuple[Check, CheckedValue]]]":
    from annot.tasks.audit import opened
    from annot.tasks.check.header_against_object import objects_of_checks
    from annot.tasks.check.register import Register

    return objects_of_checks(Register(opened(store)))


@contextmanager
def _watched() -> Iterator[Callable[[int], None]]:
    """Show how many files are done on a terminal, and nothing in a pipe."""
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda _done: None
        return
    columns = (SpinnerColumn(), TextColumn("{task.completed:.0f} files"), TimeElapsedColumn())
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task("sweep", total=None)
        yield lambda done: bar.update(task, completed=done)


def _say(found: "SweepSummary") -> None:
    earlier = f", {found.resumed} of them in an earlier run" if found.resumed else ""
    say(
        f"{found.files} files{earlier}: {found.loops} loops, {found.with_scale} of them with a "
        "header scale."
    )
    counts = ", ".join(f"{kind}: {number}" for kind, number in found.counts.items() if number)
    say(f"Findings: {counts or 'none'}.")
    shown = found.listed[:MOST_PRINTED]
    if shown:
        say_table("Findings", ("loop", "kind", "reason"), [tuple(one) for one in shown])
    rest = sum(found.counts.values()) - len(shown)
    if rest:
        say(f"{rest} more: see --output or --json.")
    if found.software:
        say_table(
            "Software of a system changed: its scale may have changed too, so check it",
            ("system", "from", "to", "last seen", "first seen", ">loops since"),
            [
                (
                    f"{one.modality} {one.station}",
                    one.before,
                    one.after,
                    one.last_before,
                    one.first_after,
                    str(one.loops_after),
                )
                for one in found.software
            ],
        )


def _say_scores(scores: list[dict[str, object]]) -> None:
    if not scores:
        return
    say_table(
        "Header against object",
        ("loop", "object", "header's", ">object's, mm/px", ">header's, mm/px", ">E_n", "verdict"),
        [
            (
                str(one["loop"]),
                str(one["object"]),
                str(one["basis"]),
                f"{one['object_mm_per_px']:.5g}" if one["object_mm_per_px"] else "–",
                f"{one['header_mm_per_px']:.5g}" if one["header_mm_per_px"] else "–",
                f"{one['e_n']:+.2f}" if isinstance(one["e_n"], float) else "–",
                str(one["verdict"]),
            )
            for one in scores
        ],
    )
