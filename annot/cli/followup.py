"""`annot followup`: what changed between a planning table and a follow-up table."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say_caution, say_json, say_table, say_warnings
from annot.tasks.followup import changes_of_tables
from annot.uncertainty import value_with_u


def followup(
    planning: Annotated[Path, typer.Argument(help="measurement table of the planning read (CSV)")],
    later: Annotated[Path, typer.Argument(help="measurement table of the follow-up read (CSV)")],
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Pair two tables of one study by quantity and view; shared errors are taken out."""
    found = changes_of_tables(planning, later)
    if json:
        say_json([one.facts() for one in found])
        return
    rows = [
        (
            one.quantity,
            one.where,
            value_with_u(one.before.value, one.before.u),
            value_with_u(one.after.value, one.after.u),
            value_with_u(one.difference.value, one.difference.u),
            f"{one.difference.low:.1f} … {one.difference.high:.1f} {one.difference.unit}",
        )
        for one in found
    ]
    heads = ("quantity", "view", ">before ± u", ">after ± u", ">change ± u", ">95 % interval")
    say_table("Changes, after minus before", heads, rows)
    say_warnings(f"{one.quantity}, {one.where}: {text}" for one in found for text in one.warnings)
    say_caution()
