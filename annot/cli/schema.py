"""`annot schema`: the formats that other programs write or read."""

from typing import Annotated

import typer

from annot.cli.printing import say_json
from annot.errors import InputError
from annot.reads import json_schema
from annot.tasks.export import COLUMNS, CURVE_COLUMNS


def schema(
    name: Annotated[str, typer.Argument(help="read (JSON Schema), table or curve (columns)")],
    json: Annotated[bool, typer.Option("--json", help="JSON is what it prints anyway")] = True,
) -> None:
    """Print the format of a file: `read` as JSON Schema, `table` and `curve` as columns."""
    del json
    if name == "read":
        say_json(json_schema())
    elif name in ("table", "curve"):
        columns = COLUMNS if name == "table" else CURVE_COLUMNS
        say_json([{"name": one.name, "unit": one.unit, "meaning": one.meaning} for one in columns])
    else:
        raise InputError(f"There is no format '{name}'; known are read, table and curve.")
