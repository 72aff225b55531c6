"""`annot reads collect`: a reader's package comes back, whole or not at all."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, actor
from annot.cli.printing import say, say_json
from annot.cli.working import working
from annot.tasks.reads_collect import collect as collect_package
from annot.tasks.reads_study import open_study


def collect(
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    package: Annotated[Path, typer.Argument(help="the reader's package as it came back")],
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Check a package, measure every signed read, keep both; a second time changes nothing."""
    with working("collecting") as progress:
        found = collect_package(open_study(study), package, by=actor(by), progress=progress)
    if json:
        say_json(
            {
                "reader": found.reader,
                "showings": found.showings,
                "fresh": found.fresh,
                "unreadable": list(found.unreadable),
                "readings_entered": found.changed.entered,
                "readings_superseded": found.changed.superseded,
            }
        )
        return
    if not found.fresh:
        say(f"All {found.showings} showings of reader {found.reader} were collected before.")
        return
    say(
        f"{found.fresh} of {found.showings} showings of reader {found.reader} are new: "
        f"{found.changed.entered} readings entered, {found.changed.superseded} measured anew "
        "because the reader's own repeats now say more."
    )
    for code in found.unreadable:
        say(f"{code} is not readable.")
