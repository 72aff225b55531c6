"""`annot loops`: what lies in files and folders, headers only."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say_json, say_table, say_warnings
from annot.errors import InputError
from annot.tasks.open import ListedLoop, list_loops


def loops(
    paths: Annotated[list[Path], typer.Argument(help="files or folders, searched below")],
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """List the loops in files and folders: size, rate, angles, the scale the header offers."""
    missing = [path for path in paths if not path.exists()]
    if missing:
        raise InputError(f"{missing[0]} does not exist.")
    found = list(list_loops(paths))
    if not found:
        raise InputError(f"No DICOM file lies in {', '.join(str(path) for path in paths)}.")
    readable = any(one.header is not None for one in found)
    if json:
        say_json([one.facts() for one in found])
    elif readable:
        heads = ("file", "kind", ">frames", ">columns × rows", ">fps", "angles", "header scale")
        say_table("Loops", heads, [_row(one) for one in found])
        say_warnings(text for one in found for text in _warnings(one))
    if not readable:
        raise InputError(found[0].fault)


def _row(one: ListedLoop) -> tuple[str, ...]:
    header, facts = one.header, one.facts()
    if header is None:
        return (one.path.name, "–", "–", "–", "–", "–", one.fault)
    rate = facts["frames_per_second"]
    return (
        one.path.name,
        header.modality,
        str(header.frames),
        f"{header.columns} × {header.rows}",
        f"{rate:.1f}" if isinstance(rate, float) else "–",
        _angles(facts),
        str(facts["header_scale"]),
    )


def _angles(facts: dict[str, object]) -> str:
    """Return the positioner's angles in the trade's words, for instance 'RAO 30 CAU 20'."""
    primary, secondary = facts["primary_deg"], facts["secondary_deg"]
    if not isinstance(primary, float) or not isinstance(secondary, float):
        return "–"
    side = "LAO" if primary > 0 else "RAO"
    tilt = "CRA" if secondary > 0 else "CAU"
    return f"{side} {abs(primary):g} {tilt} {abs(secondary):g}"


def _warnings(one: ListedLoop) -> list[str]:
    header = one.header
    return [] if header is None else [f"{one.path.name}: {text}" for text in header.warnings]
