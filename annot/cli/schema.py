"""`annot schema`: the formats that other programs write or read."""

from typing import Annotated

import typer

from annot.cli.printing import say_json
from annot.errors import InputError
from annot.reads import json_schema
from annot.reads.package_file import package_schema
from annot.reads.protocol_file import protocol_schema
from annot.reads.signed_file import signed_schema
from annot.reads.study_file import study_schema
from annot.tasks.export import COLUMNS, CURVE_COLUMNS
from annot.tasks.reads_final import FINAL_TABLE
from annot.tasks.sizes import CHART_COLUMNS

TABLES = {
    "final": FINAL_TABLE,
    "table": [(one.name, one.unit, one.meaning) for one in COLUMNS],
    "curve": [(one.name, one.unit, one.meaning) for one in CURVE_COLUMNS],
    "chart": [(one.name, one.unit, one.meaning) for one in CHART_COLUMNS],
}
SCHEMAS = {
    "read": json_schema,
    "protocol": protocol_schema,
    "study": study_schema,
    "package": package_schema,
    "signed": signed_schema,
}
KNOWN = "read, protocol, study, package, signed, table, final, curve and chart"


def schema(
    name: Annotated[
        str,
        typer.Argument(
            help="read, protocol, study, package or signed (JSON Schema), table, final, curve or "
            "chart (columns)"
        ),
    ],
    json: Annotated[bool, typer.Option("--json", help="JSON is what it prints anyway")] = True,
) -> None:
    """Print the format of a file: a JSON Schema, or of a table its columns."""
    del json
    if name in SCHEMAS:
        say_json(SCHEMAS[name]())
    elif name in TABLES:
        heads = ("name", "unit", "meaning")
        say_json([dict(zip(heads, one, strict=True)) for one in TABLES[name]])
    else:
        raise InputError(f"There is no format '{name}'; known are {KNOWN}.")
