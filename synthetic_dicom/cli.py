"""Write named loops from the command line."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from synthetic_dicom.cases import CASES, write_case
from synthetic_dicom.encode import ENCODINGS


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the asked cases into a folder; return 0, or 1 if the folder cannot be written."""
    parser = argparse.ArgumentParser(
        prog="python -m synthetic_dicom",
        description="Write synthetic cine loops with their truth beside them.",
    )
    parser.add_argument("folder", type=Path, help="where to write; made if it is not there")
    parser.add_argument("--case", action="append", choices=tuple(CASES), help="repeatable")
    parser.add_argument("--seed", type=int, default=1, help="0 or more")
    parser.add_argument("--frames", type=int, help="length of each loop")
    parser.add_argument("--encoding", choices=ENCODINGS, default="explicit")
    chosen = parser.parse_args(arguments)
    if chosen.seed < 0 or (chosen.frames is not None and chosen.frames < 1):
        parser.error("the seed must be 0 or more and the frames 1 or more")
    try:
        for name in chosen.case or CASES:
            frames = 1 if CASES[name].frames == 1 else chosen.frames
            made = write_case(
                name, chosen.folder, seed=chosen.seed, frames=frames, encoding=chosen.encoding
            )
            print(made.path)  # noqa: T201  a command line prints
    except OSError as error:
        print(f"{chosen.folder}: {error.strerror}", file=sys.stderr)  # noqa: T201  a command line prints
        return 1
    return 0
