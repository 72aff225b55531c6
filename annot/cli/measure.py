"""`annot measure`: a read file becomes the measurement table."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.status import Status
from rich.text import Text

from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.errors import InputError
from annot.tasks.export import Cell, rows_of, write_table
from annot.tasks.measure import TableEntry, measure_read
from annot.tasks.read import load_read
from annot.uncertainty import decimals_for


def measure(
    read: Annotated[Path, typer.Argument(help="the read file (JSON)")],
    output: Annotated[Path | None, typer.Option("-o", "--output", help="write CSV here")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Measure every caliper of a read file; each row carries its uncertainty and its origin."""
    content = load_read(read)
    screen = Console(stderr=True)
    with Status("opening", console=screen) if screen.is_terminal else _Quiet() as status:
        entries = measure_read(
            content, read.parent, progress=lambda name: status.update(Text(name))
        )
    if not entries:
        raise InputError(f"{read.name} holds no calipers, so there is nothing to measure.")
    if output is not None:
        write_table(entries, output)
    rows = rows_of(entries)
    if json:
        say_json(rows)
        return
    say_table(f"Measurements of reader {content.reader}", HEADS, [short_row(row) for row in rows])
    if output is not None:
        say(f"Table: {output}")
    unscaled = sum(row["unit"] == "px" for row in rows)
    if unscaled:
        say(f"{unscaled} of {len(rows)} measurements have no scale and stay in pixels.")
    say_warnings(_grouped(entries))
    say_caution()


def _grouped(entries: list[TableEntry]) -> list[str]:
    """Return each warning once, behind the calipers it is for."""
    calipers: dict[str, list[str]] = {}
    for entry in entries:
        for text in entry.measurement.warnings:
            calipers.setdefault(text, []).append(entry.measurement.caliper.key)
    return [f"{', '.join(keys)}: {text}" for text, keys in calipers.items()]


HEADS = ("caliper", "quantity", "loop, frame", ">value ± u", ">95 % interval")


def short_row(row: dict[str, Cell]) -> tuple[str, ...]:
    """Return the cells that fit a terminal: value and uncertainty to the digits u deserves."""
    u, view = float(row["u"] or 0), row["view_deg"]
    places = decimals_for(u)
    return (
        str(row["caliper_id"]),
        str(row["quantity"]) + ("" if view is None else f" {view:.4g}°"),
        f"{row['loop']} {row['frame']}",
        f"{row['value']:.{places}f} ± {u:.{places}f} {row['unit']}",
        f"{row['low']:.{places}f} … {row['high']:.{places}f}",
    )


class _Quiet:
    """Stands in for the progress line where nobody watches."""

    def __enter__(self) -> "_Quiet":
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def update(self, text: Text) -> None:
        """Say nothing."""
