"""A header's scale against an object of known size in the same loop, by the normalised error."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from annot.calibration import (
    MadeScale,
    NoScale,
    ObjectRequest,
    PixelScale,
    make_scale,
)
from annot.errors import AnnotError
from annot.tasks.open import open_loop
from annot.tasks.read import load_read

Score = dict[str, object]


def scores_of_reads(reads: Sequence[Path]) -> list[Score]:
    """Return, for every loop of some reads that has an object, E_n of each of its header scales.

    A loop at fault gets a row that says so; the others go on.

    Raises
    ------
    InputError
        If a read file is at fault.
    """
    return [score for path in reads for score in _of_read(path)]


def _of_read(path: Path) -> Iterator[Score]:
    for part in load_read(path).loops:
        if not isinstance(part.scale, ObjectRequest):
            continue
        about = {"read": path.name, "loop": part.file, "object": part.scale.kind}
        try:
            made = make_scale(open_loop(path.parent / part.file), part.scale)
        except AnnotError as fault:
            yield about | _nothing(fault.message)
        else:
            yield from (about | one for one in _against(made))


def _against(made: MadeScale) -> Iterator[Score]:
    scale = made.scale
    if not isinstance(scale, PixelScale):
        yield _nothing(scale.reason if isinstance(scale, NoScale) else "no scale of the object")
        return
    if not made.others:
        yield {**_nothing("the header has no scale"), "object_mm_per_px": scale.row.value}
    for other in made.others:
        yield {
            "basis": other.scale.basis,
            "object_mm_per_px": scale.row.value,
            "header_mm_per_px": other.scale.row.value,
            "e_n": other.score.e_n,
            "verdict": other.verdict,
        }


def _nothing(words: str) -> Score:
    return {
        "basis": "–",
        "object_mm_per_px": None,
        "header_mm_per_px": None,
        "e_n": None,
        "verdict": words,
    }
