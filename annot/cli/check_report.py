"""`annot check report`: one page per room."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.check_register import Json, Where, today
from annot.cli.printing import say, say_json


def report(
    store: Where,
    room: Annotated[str, typer.Option(help="the room, as entered")],
    output: Annotated[Path, typer.Option("-o", "--output", help="the page (HTML)")],
    loops: Annotated[
        list[Path] | None, typer.Option("--loop", help="show this loop with what is found on it")
    ] = None,
    json: Json = False,
) -> None:
    """Write a page of one room: last check, charts, pictures, due dates; JSON lies beside it."""
    from annot.tasks.audit import opened
    from annot.tasks.check.register import Register
    from annot.tasks.check.report import write_report

    page, beside = write_report(
        Register(opened(store)), room, output, today=today(), loops=loops or []
    )
    if json:
        say_json({"page": str(page), "facts": str(beside)})
        return
    say(f"Page: {page}")
    say(f"The same for machines: {beside}")
