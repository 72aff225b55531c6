"""`annot reads unblind`: what a code stands for, once somebody has said why."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, KeyOption, PassphraseOption, actor, key_ring
from annot.cli.printing import say_json, say_table
from annot.tasks.reads_key import unblind as unblind_codes


def unblind(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    codes: Annotated[list[str], typer.Argument(help="codes of showings")],
    reason: Annotated[str, typer.Option(help="why; it is kept")],
    key: KeyOption = None,
    passphrase_file: PassphraseOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Say which loop each code stands for; who asked, when and why is kept first."""
    ring = key_ring(study, key, passphrase_file)
    found = unblind_codes(study, codes, ring, by=actor(by), reason=reason)
    if json:
        say_json([asdict(one) for one in found])
        return
    rows = [(one.code, one.reader, one.label, one.file) for one in found]
    say_table("Unblinded", ("code", "reader", "loop", "file"), rows)
