"""`annot reads new`: loops and a protocol become a study that can be read blinded."""

import re
from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, KeyOption, PassphraseOption, actor, key_ring
from annot.cli.printing import say, say_json, say_table
from annot.cli.working import working
from annot.tasks.reads_new import MASKS, StudyPlan, new_study
from annot.tasks.reads_prepare import owed
from annot.tasks.reads_study import Study


def new(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: Annotated[Path, typer.Argument(help="folder to make for the study")],
    loops: Annotated[list[Path], typer.Argument(help="loops, or folders searched for loops")],
    protocol: Annotated[
        str, typer.Option(help="a shipped protocol or a file (.yaml)")
    ] = "closure-planning",
    code: Annotated[str, typer.Option(help="the study's name (default: the folder's)")] = "",
    store: Annotated[
        str, typer.Option(help="where it is kept: postgresql://host/name instead of a file")
    ] = "study.sqlite",
    key: KeyOption = None,
    passphrase_file: PassphraseOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Make a study: fingerprints, masks to look at, a store, and a sealed key beside it."""
    plan = StudyPlan(
        folder=study, code=code or code_of(study), protocol=protocol, by=actor(by), store=store
    )
    ring = key_ring(study, key, passphrase_file)
    with working("making the study") as progress:
        made, files = new_study(plan, loops, ring, progress=progress)
    if json:
        say_json({"study": made.file.code, "key": str(ring.path), "loops": facts(made, files)})
        return
    rows = [
        (one.label, files[one.label].name, one.modality, "; ".join(owed(one)) or "nothing")
        for one in made.file.loops
    ]
    say_table(f"Study {made.file.code}", ("loop", "file", "kind", "needs first"), rows)
    say(
        f"Look at {study / MASKS}: above what each loop shows, what goes dark dyed red; below what "
        f"a reader would see. These pictures, {study} and {ring.path} stay in the laboratory."
    )


def code_of(folder: Path) -> str:
    """Return a code made of a folder's name."""
    return re.sub(r"[^A-Za-z0-9_.-]+", "-", folder.resolve().name).strip("-._")[:32] or "study"


def facts(study: Study, files: dict[str, Path]) -> list[dict[str, object]]:
    """Return what is known of each loop, for machines."""
    return [
        {
            **one.model_dump(mode="json"),
            "needs": list(owed(one)),
            **({"file": str(files[one.label])} if one.label in files else {}),
        }
        for one in study.file.loops
    ]
