"""`annot reads sign`: a reader stands behind a read, which is closed from then on."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_json, say_table
from annot.errors import InputError
from annot.tasks.reads_sign import OpenShowing, showings_of
from annot.tasks.reads_sign import sign as sign_read


def sign(
    folder: Annotated[Path, typer.Argument(help="the reader's package")],
    code: Annotated[
        str | None, typer.Argument(help="the showing; none lists them, signed and open")
    ] = None,
    reader: Annotated[str, typer.Option(help="who signs")] = "",
    unreadable: Annotated[
        str, typer.Option(help="why the loop cannot be measured, instead of a measurement")
    ] = "",
    in_pixels: Annotated[
        bool, typer.Option("--in-pixels", help="leave lengths without a scale in pixels")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Sign "I measured this", or that a loop is not readable; what is signed never changes."""
    if code is None:
        _list(showings_of(folder), json=json)
        return
    if not reader:
        raise InputError("Say who signs: --reader A.")
    signed = sign_read(folder, code, reader=reader, unreadable=unreadable, in_pixels=in_pixels)
    if json:
        say_json(signed.model_dump(mode="json"))
        return
    sense = signed.meaning if signed.readable else f"not readable: {signed.reason}"
    say(f"{code} is signed by {reader} at {signed.at}: {sense}. It is closed now.")


def _list(showings: list[OpenShowing], *, json: bool) -> None:
    if json:
        facts = [
            {
                "code": one.code,
                "order": one.order,
                "calipers": one.calipers,
                "signed": one.signed.model_dump(mode="json") if one.signed else None,
            }
            for one in showings
        ]
        say_json(facts)
        return
    rows = [(str(one.order), one.code, str(one.calipers), _word(one)) for one in showings]
    say_table("Showings in this package", (">order", "showing", ">calipers", "state"), rows)


def _word(one: OpenShowing) -> str:
    if one.signed is None:
        return "open"
    if one.signed.readable:
        return f"signed {one.signed.at}"
    return f"signed {one.signed.at} as not readable: {one.signed.reason}"
