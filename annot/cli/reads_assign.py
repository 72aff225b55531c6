"""`annot reads assign`: who reads what in which order, drawn at random and kept."""

from collections import Counter
from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, KeyOption, PassphraseOption, actor, key_ring
from annot.cli.printing import say, say_json, say_table
from annot.errors import InputError
from annot.tasks.reads_assign import assign_readers
from annot.tasks.reads_study import open_study


def assign(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    readers: Annotated[str, typer.Option(help="their codes: A,B,C")],
    seed: Annotated[int | None, typer.Option(min=0, max=2**32 - 1, help="default: drawn")] = None,
    key: KeyOption = None,
    passphrase_file: PassphraseOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Draw each reader's list in balanced order, the protocol's share of loops shown twice."""
    codes = [one.strip() for one in readers.split(",") if one.strip()]
    if not codes:
        raise InputError("Name at least one reader: --readers A,B.")
    ring = key_ring(study, key, passphrase_file)
    found = assign_readers(open_study(study), codes, ring, by=actor(by), seed=seed)
    if json:
        presentations = [one.facts() for one in found.presentations]
        say_json(
            {"study": found.file.code, "seed": found.file.seed, "presentations": presentations}
        )
        return
    counts = Counter(one.reader for one in found.presentations)
    again = Counter(one.reader for one in found.presentations if one.repeat_of)
    rows = [(code, str(counts[code]), str(again[code])) for code in codes]
    say_table(f"Study {found.file.code}", ("reader", ">showings", ">of them repeats"), rows)
    say(f"Seed {found.file.seed}; with the key it gives these lists again.")
