"""`annot view`: the measuring window, if its extra is installed."""

import importlib.util
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from annot.errors import InputError
from annot.tasks.open import refuse_unopenable
from annot.tasks.package_folder import holds_package, open_package


def view(
    paths: Annotated[
        list[Path] | None,
        typer.Argument(
            help="files, folders, zip archives or a disc's DICOMDIR to open; or a reader's package"
        ),
    ] = None,
) -> None:
    """Open loops in the measuring window, or a reader's package in a blinded seat.

    Needs the extra `viewer` and a screen.
    """
    files = paths or []
    _refuse_package_beside(files)
    for path in files:
        refuse_unopenable(path)  # before a window comes up
    if any(importlib.util.find_spec(name) is None for name in ("napari", "qtpy", "PySide6")):
        raise InputError(
            "The viewer is not installed: in the project's folder, run "
            'python -m pip install -e ".[viewer]".'
        )
    if sys.platform.startswith("linux") and not _has_screen():
        raise InputError("No screen: set DISPLAY or WAYLAND_DISPLAY, or run under xvfb-run.")
    from napari_annot import open_viewer

    open_viewer(files)


def _refuse_package_beside(files: list[Path]) -> None:
    """Raise InputError for a damaged package, or for one with anything beside it."""
    packages = [one for one in files if holds_package(one)]
    if packages and len(files) > 1:
        raise InputError(
            f"{packages[0]} is a reader's package: open it alone, for it is read blinded."
        )
    for one in packages:
        open_package(one)


def _has_screen() -> bool:
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
