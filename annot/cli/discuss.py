"""`annot discuss`: one page of a table to talk about, without advice."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json
from annot.tasks.discussion import write_discussion


def discuss(
    tables: Annotated[
        list[Path], typer.Argument(help="measurement tables (CSV), for instance one a reader")
    ],
    output: Annotated[Path, typer.Option("-o", "--output", help="write the page here (HTML)")],
    chart: Annotated[Path | None, typer.Option(help="your size chart (CSV)")] = None,
    basis: Annotated[
        str, typer.Option(help="what the chart means by width: largest, area or perimeter")
    ] = "largest",
    planning: Annotated[
        Path | None, typer.Option(help="earlier table of the same study, to show what changed")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Write every view, modality and reader of some tables side by side as one page (HTML)."""
    write_discussion(tables, output, chart=chart, basis=basis, planning=planning)
    if json:
        say_json({"page": str(output)})
        return
    say(f"Page: {output}")
    say_caution()
