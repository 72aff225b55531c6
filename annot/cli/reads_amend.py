"""`annot reads amend` and `remeasure`: the laboratory corrects, and all that follows is anew."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, actor
from annot.cli.printing import say, say_json
from annot.cli.working import working
from annot.tasks.reads_amend import Amendment, Changed
from annot.tasks.reads_amend import amend as amend_read
from annot.tasks.reads_amend import remeasure as measure_anew
from annot.tasks.reads_study import open_study

StudyFolder = Annotated[Path, typer.Argument(help="the study's folder")]
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]


def amend(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: StudyFolder,
    code: Annotated[str, typer.Argument(help="the showing")],
    reason: Annotated[str, typer.Option(help="why, which is kept")],
    read: Annotated[Path | None, typer.Option(help="the corrected read file")] = None,
    unreadable: Annotated[str, typer.Option(help="why the loop cannot be measured")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Supersede a signed read; every value that rests on it is computed anew, the old ones kept."""
    amendment = Amendment(code=code, read=read, unreadable=unreadable)
    with working("measuring anew") as progress:
        changed = amend_read(
            open_study(study), amendment, by=actor(by), reason=reason, progress=progress
        )
    if json:
        say_json(_facts(changed))
        return
    say(f"{code} is amended: {_words(changed)}. What was signed stays beside it.")


def remeasure(
    study: StudyFolder,
    reason: Annotated[str, typer.Option(help="why, which is kept")],
    by: By = "",
    json: Json = False,
) -> None:
    """Compute anew every reading that does not rest on what holds now."""
    with working("measuring anew") as progress:
        found = measure_anew(open_study(study), by=actor(by), reason=reason, progress=progress)
    if json:
        say_json({reader: _facts(one) for reader, one in found.items()})
        return
    if not found:
        say("No signed read was collected yet, so there is nothing to measure anew.")
    for reader, one in found.items():
        say(f"Reader {reader}: {_words(one)}.")


def _facts(one: Changed) -> dict[str, int]:
    return {"entered": one.entered, "superseded": one.superseded, "withdrawn": one.withdrawn}


def _words(one: Changed) -> str:
    return f"{one.superseded} readings superseded, {one.entered} entered, {one.withdrawn} withdrawn"
