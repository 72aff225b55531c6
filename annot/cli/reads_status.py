"""`annot reads status`: who owes what, and where readers are apart."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_json, say_table
from annot.sizing.chart_file import read_chart
from annot.tasks.reads_status import ReaderStatus, StudyStatus, status_of
from annot.tasks.reads_study import open_study

ChartOption = Annotated[
    Path | None,
    typer.Option(help="your size chart (CSV), where the protocol looks at its rows"),
]


HEADS = (
    "reader", ">assigned", "handed out", ">collected", ">not readable", ">amended", ">overruled",
)  # fmt: skip


def status(
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    chart: ChartOption = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Tell how far a study has come; for the laboratory's eyes, not a reader's."""
    found = status_of(open_study(study), read_chart(chart) if chart else None)
    if json:
        say_json(found.facts())
        return
    rows = [
        (
            one.reader,
            str(one.assigned),
            "yes" if one.handed_out else "no",
            str(one.collected),
            str(one.unreadable),
            str(one.amended),
            _index(one),
        )
        for one in found.readers
    ]
    say_table(f"Study {found.study}", HEADS, rows)
    say(_cases(found))
    say(f"Frozen by {found.frozen}." if found.frozen else "The study is open.")


def _index(one: ReaderStatus) -> str:
    if one.disagreement is None:
        return "–"
    low, high = one.disagreement.low, one.disagreement.high
    return f"{one.overruled} of {one.judged} ({low:.0f} to {high:.0f} %)"


def _cases(found: StudyStatus) -> str:
    if found.cases is None:
        return f"Readers cannot be compared: {found.why_unknown}"
    return (
        f"{found.cases} cases, {found.unpaired} measured by one reader alone; in {found.apart} "
        f"readers are too far apart, {found.asked} went to a third reader, {found.adjudicated} "
        "came back."
    )
