"""`annot reads package`: a folder that one reader gets, and that identifies nobody."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, KeyOption, PassphraseOption, actor, key_ring
from annot.cli.printing import say, say_json
from annot.cli.working import working
from annot.errors import InputError
from annot.tasks.reads_package import ENCODINGS, Encoding, Handing, hand_out
from annot.tasks.reads_study import open_study


def package(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    reader: Annotated[str, typer.Option(help="whose package")],
    out: Annotated[Path, typer.Option(help="folder to make")],
    encoding: Annotated[
        str, typer.Option(help=f"how pixels are stored, without loss: {' or '.join(ENCODINGS)}")
    ] = ENCODINGS[0],
    reason: Annotated[str, typer.Option(help="why once more, if there was one already")] = "",
    key: KeyOption = None,
    passphrase_file: PassphraseOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Write a reader's blinded loops and empty reads; each copy is checked against its loop."""
    handing = Handing(
        reader=reader, out=out, by=actor(by), reason=reason, encoding=_encoding(encoding)
    )
    ring = key_ring(study, key, passphrase_file)
    with working("blinding") as progress:
        made = hand_out(open_study(study), handing, ring, progress=progress)
    if json:
        say_json(made.model_dump(mode="json"))
        return
    say(
        f"{out} holds {len(made.presentations)} showings for reader {reader}: every copy gives its "
        "loop's own frames where they are not masked, and the same geometry and times."
    )
    say("Two showings of one loop share its picture, times and geometry only: hint at no repeats.")


def _encoding(name: str) -> Encoding:
    for known in ENCODINGS:
        if name == known:
            return known
    raise InputError(f"There is no encoding '{name}'; known are {' and '.join(ENCODINGS)}.")
