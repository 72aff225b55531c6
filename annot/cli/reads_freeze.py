"""`annot reads export` and `freeze`: tables out of a study, and its end."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, actor
from annot.cli.printing import say, say_caution, say_json
from annot.cli.reads_status import ChartOption
from annot.cli.working import counting
from annot.sizing.chart_file import read_chart
from annot.tasks.reads_freeze import Freezing
from annot.tasks.reads_freeze import freeze as close_study
from annot.tasks.reads_study import open_study
from annot.tasks.reads_table import export_readings

Output = Annotated[Path, typer.Option("-o", "--output", help="the table (CSV)")]


def export(
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    output: Output,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Write every reading that holds now as a measurement table; a stale one stops all of it."""
    with counting("readings written") as count:
        written = export_readings(open_study(study), output, count=count)
    if json:
        say_json({"table": str(output), "readings": written})
        return
    say(f"Table of {written} readings: {output}")
    say_caution()


def freeze(
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    output: Output,
    chart: ChartOption = None,
    in_spite: Annotated[
        str, typer.Option(help="why it is frozen although something is open, which is kept")
    ] = "",
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Close a study for good: its final table, and the chain's head to be kept outside."""
    rows = read_chart(chart) if chart else None
    freezing = Freezing(table=output, by=actor(by), chart=rows, in_spite=in_spite)
    found = close_study(open_study(study), freezing)
    head = found.anchor
    if json:
        say_json(
            {
                "rows": found.rows,
                "table_sha256": found.digest,
                "study": head.study,
                "sequence": head.sequence,
                "head": head.digest,
                "open": list(found.left_open),
            }
        )
        return
    say(f"{found.rows} final values: {output}, SHA-256 {found.digest}")
    for one in found.left_open:
        say(f"Left open: {one}")
    say(
        f"Study {head.study} is frozen at event {head.sequence}; write this head down outside the "
        f"laboratory's reach: {head.digest}"
    )
    say_caution()
