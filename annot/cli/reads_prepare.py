"""`annot reads prepare`: what stands only in the picture is stated, masks are set and looked at."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.passphrase import By, KeyOption, PassphraseOption, actor, key_ring
from annot.cli.printing import say_json, say_table
from annot.cli.reads_new import facts
from annot.errors import InputError
from annot.tasks.reads_prepare import Box, Preparation, owed, prepare
from annot.tasks.reads_study import Study, open_study

BOX = "ROW,COLUMN,ROW,COLUMN of its first and last pixel, from 0"


def prepare_loops(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    study: Annotated[Path, typer.Argument(help="the study's folder")],
    labels: Annotated[
        list[str] | None, typer.Argument(help="its loops, such as L001; none lists them all")
    ] = None,
    plane_deg: Annotated[
        float | None, typer.Option(help="the plane angle that stands in the picture")
    ] = None,
    plane_unknown: Annotated[
        bool, typer.Option("--plane-unknown", help="the picture does not tell the plane angle")
    ] = False,
    note: Annotated[
        list[str] | None, typer.Option(help="NAME=TEXT that stands only in the picture")
    ] = None,
    show: Annotated[list[str] | None, typer.Option(help=f"show only this box: {BOX}")] = None,
    hide: Annotated[list[str] | None, typer.Option(help=f"hide this box: {BOX}")] = None,
    confirm: Annotated[
        bool,
        typer.Option("--confirm", help="I looked at the masked picture; it identifies nobody"),
    ] = False,
    key: KeyOption = None,
    passphrase_file: PassphraseOption = None,
    by: By = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """State facts that masking takes away, change masks, and confirm that they were looked at."""
    stated = Preparation(
        plane_deg=plane_deg,
        plane_unknown=plane_unknown,
        notes=tuple(_note(one) for one in note or ()),
        shown=tuple(_box(one) for one in show or ()),
        hidden=tuple(_box(one) for one in hide or ()),
        confirm=confirm,
    )
    found = open_study(study)
    if stated != Preparation() and not labels:
        raise InputError("Name the loops that this is said of, such as L001.")
    if labels and stated != Preparation():
        ring = key_ring(study, key, passphrase_file) if stated.changes_mask else None
        found = prepare(found, labels, stated, by=actor(by), ring=ring)
    if json:
        say_json(facts(found, {}))
        return
    say_table(
        f"Study {found.file.code}", ("loop", "kind", ">plane", "looked", "needs"), _rows(found)
    )


def _rows(study: Study) -> list[tuple[str, ...]]:
    return [
        (
            one.label,
            one.modality,
            "–" if one.facts.plane_deg is None else f"{one.facts.plane_deg:g}°",
            f"{one.confirmed.by}, {one.confirmed.at}" if one.confirmed else "–",
            "; ".join(owed(one)) or "nothing",
        )
        for one in study.file.loops
    ]


def _note(text: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark or not name.strip():
        raise typer.BadParameter(f"'{text}' is not NAME=TEXT", param_hint="--note")
    return name.strip(), value.strip()


def _box(text: str) -> Box:
    try:
        top, left, bottom, right = (int(one) for one in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"'{text}' is not {BOX}", param_hint="--show, --hide") from None
    return top, left, bottom, right
