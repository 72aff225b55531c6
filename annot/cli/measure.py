"""`annot measure`: a read file becomes the measurement table."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.cli.protocol import print_hand_over
from annot.cli.working import working
from annot.errors import InputError
from annot.measurement.refine import Refinement
from annot.tasks.export import Cell, rows_of, write_table
from annot.tasks.handover import hand_over
from annot.tasks.measure import TableEntry, measure_read
from annot.tasks.read import load_read
from annot.tasks.refine import Proposal, refinements_of
from annot.uncertainty import decimals_for


def measure(
    read: Annotated[Path, typer.Argument(help="the read file (JSON)")],
    output: Annotated[Path | None, typer.Option("-o", "--output", help="write CSV here")] = None,
    refine: Annotated[
        bool, typer.Option("--refine", help="only list where the walls' edges lie; change nothing")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Measure every caliper of a read file; each row carries its uncertainty and its origin."""
    content = load_read(read)
    if refine:
        if output is not None:
            raise typer.BadParameter("--refine only lists shifts, so it writes no table")
        with working("opening") as progress:
            proposals = refinements_of(content, read.parent, progress=progress)
        _print_proposals(proposals, json=json)
        return
    with working("opening") as progress:
        entries = measure_read(content, read.parent, progress=progress)
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
    unscaled = sum(row["unit"] in ("px", "px2") for row in rows)
    if unscaled:
        say(f"{unscaled} of {len(rows)} measurements have no scale and stay in pixels.")
    say_warnings(_grouped(entries))
    print_hand_over(hand_over(content, entries))
    say_caution()


def _print_proposals(proposals: list[Proposal], *, json: bool) -> None:
    if json:
        say_json([one.as_dict() for one in proposals])
        return
    rows = []
    for one in proposals:
        found = one.found
        if isinstance(found, Refinement):
            by_mm = "–" if one.shift_mm is None else f"{one.shift_mm:+.2f}"
            cells = (
                f"{found.shift_px:+.1f} ± {found.u_px:.1f}",
                by_mm,
                f"{100 * found.within_a_pixel:.0f} %",
                f"{found.contrast_to_noise:.0f}",
            )
        else:
            cells = ("–", "–", "–", found.reason)
        place = f"{one.file} {one.caliper.frame.frame}"
        rows.append((one.caliper.key, place, "first" if one.end == 0 else "last", *cells))
    heads = ("caliper", "loop, frame", "end", ">shift px ± u", ">mm", ">within 1 px", "contrast")
    say_table(
        "Proposed shifts to the walls' edges, outward positive; nothing is changed", heads, rows
    )
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
