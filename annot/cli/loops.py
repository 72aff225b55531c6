"""`annot loops`: what lies in files and folders, headers only."""

import json as json_text
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.markup import escape

from annot.cli.printing import say_table, say_warnings, view_words
from annot.errors import InputError
from annot.tasks.open import (
    ListedLoop,
    LoopHeader,
    list_loops,
    offered_devices,
    offered_scales,
    scale_words,
)

_HEADS = ("file", "kind", ">frames", ">columns × rows", ">fps", "encoding", "angles", "scales")


def loops(
    paths: Annotated[
        list[Path],
        typer.Argument(help="files, zip archives, a disc's DICOMDIR, or folders, searched below"),
    ],
    json: Annotated[
        bool, typer.Option("--json", help="print JSON for machines, one object a line")
    ] = False,
) -> None:
    """List the loops in files and folders: size, rate, encoding, angles, every scale on offer."""
    found = []
    with _progress("Reading headers") as done:
        for one in list_loops(paths):
            found.append(one)
            done(one.path.name)
            if json:
                _say_line(one.facts())
    if not found:
        raise InputError(f"No DICOM file lies in {', '.join(str(path) for path in paths)}.")
    readable = any(one.header is not None for one in found)
    if readable and not json:
        say_table("Loops", _HEADS, [_row(one) for one in found])
        say_warnings(text for one in found for text in _warnings(one))
    if not readable:
        raise InputError(found[0].fault)


def _row(one: ListedLoop) -> tuple[str, ...]:
    header, facts = one.header, one.facts()
    if header is None:
        return (one.path.name, *["–"] * (len(_HEADS) - 2), one.fault)
    rate = facts["frames_per_second"]
    return (
        one.path.name if one.files == 1 else f"{one.path.name} ({one.files} files)",
        header.modality,
        str(header.frames),
        f"{header.columns} × {header.rows}",
        f"{rate:.1f}" if isinstance(rate, float) else "–",
        str(facts["encoding"]),
        _angles(facts),
        _scales(header),
    )


def _scales(header: LoopHeader) -> str:
    """Say every scale on its own line, with its standard uncertainty, and what is none as such."""
    offered = offered_scales(header)
    lines = []
    for scale in offered:
        size = f"{scale.row_mm_per_px:.4g}"
        if f"{scale.column_mm_per_px:.4g}" != size:
            size += f" × {scale.column_mm_per_px:.4g}"
        worth = f" ± {100 * scale.u_rel:.2g} % (u)" if scale.u_rel is not None else ""
        lines.append(
            f"{size} mm/px{worth}, {scale.basis}" + (f": {scale.reason}" if scale.reason else "")
        )
    if not any(scale.usable for scale in offered):
        lines.insert(0, scale_words(header))
    return "\n".join((*lines, *offered_devices(header)))


def _angles(facts: dict[str, object]) -> str:
    """Return the positioner's angles in the trade's words, for instance 'RAO 30 CAU 20'."""
    primary, secondary = facts["primary_deg"], facts["secondary_deg"]
    if not isinstance(primary, float) or not isinstance(secondary, float):
        return "–"
    return view_words(primary, secondary)


def _warnings(one: ListedLoop) -> list[str]:
    header = one.header
    if header is None:
        return []
    cannot = one.facts()["cannot_decode"]
    texts = [*header.warnings, *([str(cannot)] if cannot else [])]
    return [f"{one.path.name}: {text}" for text in texts]


def _say_line(answer: object) -> None:
    """Print one JSON document on one line, at once, so that a reader need not wait for the rest."""
    sys.stdout.write(json_text.dumps(answer, ensure_ascii=False, allow_nan=False) + "\n")
    sys.stdout.flush()


@contextmanager
def _progress(what: str) -> Iterator[Callable[[str], None]]:
    """Show on a terminal how many are done; elsewhere show nothing.

    Yields
    ------
    callable
        Takes the name of what was just done.
    """
    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda _name: None
        return
    count = 0
    with errors.status(what) as status:

        def done(name: str) -> None:
            nonlocal count
            count += 1
            status.update(f"{what}: {count}, {escape(name)}")

        yield done
