"""How the command line speaks: tables for people, JSON for machines, one line for a fault."""

import json
import os
import sys
from collections.abc import Iterable, Sequence

from rich.console import Console, JustifyMethod
from rich.table import Table
from rich.text import Text

from annot.vocabulary import CAUTION, SCOPE_OF_INTERVAL


def console() -> Console:
    """Return the console of standard output; piped, it is as wide as COLUMNS says, or 160."""
    free = sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdigit()
    return Console(soft_wrap=False, width=None if free else 160, highlight=False, emoji=False)


def say_json(answer: object) -> None:
    """Print one JSON document; a value that is not finite would be a defect, so it is refused."""
    sys.stdout.write(json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1) + "\n")


def say_table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Print a table; heads that begin with '>' are numbers and stand to the right.

    Cells are names that people chose: nothing in them is markup, and none is cut short.
    """
    table = Table(title=Text(title), title_justify="left", title_style="bold", show_edge=False)
    for head in heads:
        right = head.startswith(">")
        justify: JustifyMethod = "right" if right else "left"
        table.add_column(head.removeprefix(">"), justify=justify, overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console().print(table)


def say(text: str) -> None:
    """Print one paragraph as it stands."""
    console().print(text, markup=False)


def say_warnings(warnings: Iterable[str]) -> None:
    """Print each distinct warning once, marked by word and sign."""
    for text in dict.fromkeys(warnings):
        console().print(f"! warning: {text}", markup=False, style="yellow")


def say_caution() -> None:
    """Print the cautions that stand under every number."""
    console().print(f"{CAUTION} {SCOPE_OF_INTERVAL}", markup=False, style="dim")


def say_fault(message: str) -> None:
    """Print a fault on standard error as one line."""
    sys.stderr.write(f"annot: {' '.join(message.split())}\n")


def view_words(primary_deg: float, secondary_deg: float) -> str:
    """Return positioner angles in the trade's words, for instance 'RAO 30 CAU 20'."""
    side = "LAO" if primary_deg > 0 else "RAO"
    tilt = "CRA" if secondary_deg > 0 else "CAU"
    return f"{side} {abs(primary_deg):g} {tilt} {abs(secondary_deg):g}"
