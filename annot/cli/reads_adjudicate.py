"""`annot reads adjudicate`: where two readers are too far apart, a third is asked."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, actor
from annot.cli.printing import say, say_json, say_table
from annot.cli.reads_status import ChartOption
from annot.sizing.chart_file import read_chart
from annot.tasks.reads_adjudicate import Asked, disputes_of
from annot.tasks.reads_adjudicate import adjudicate as ask_third
from annot.tasks.reads_study import open_study


def adjudicate(
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    to: Annotated[
        str, typer.Option(help="the third reader's code; none only lists who is apart")
    ] = "",
    chart: ChartOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """List readers further apart than the protocol allows, and give their loops to a third."""
    opened, rows = open_study(study), read_chart(chart) if chart else None
    if to:
        asked = ask_third(opened, third=to, by=actor(by), chart=rows)
    else:
        asked = Asked(disputes=disputes_of(opened, rows))
    if json:
        say_json(_facts(asked))
        return
    cells = [(one.key, one.why, one.third.reader if one.third else "–") for one in asked.disputes]
    say_table("Cases further apart than the protocol allows", ("case", "why", "third"), cells)
    if to and not asked.showings:
        say(f"No new showings for {to}: whatever is apart went to a third reader already.")
    elif to:
        say(
            f"{len(asked.showings)} new showings for {to}, in an order of their own: hand them out "
            f"with annot reads package --reader {to}."
        )


def _facts(asked: Asked) -> dict[str, object]:
    return {
        "apart": [
            {
                "case": one.key,
                "why": one.why,
                "unit": one.unit,
                "values": {side.reader: side.seen.value for side in one.sides},
                "third": one.third.reader if one.third else None,
            }
            for one in asked.disputes
        ],
        "showings": [one.facts() for one in asked.showings],
    }
