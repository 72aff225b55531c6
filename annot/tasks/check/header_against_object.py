"""A header's scale against an object of known size in the same loop, by the normalised error."""

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from annot.calibration import (
    MadeScale,
    NoScale,
    ObjectRequest,
    PixelScale,
    make_scale,
)
from annot.calibration.allowances import GEOMETRY_REL
from annot.errors import AnnotError
from annot.quality import en_number
from annot.quality.judgement import CheckedValue
from annot.tasks.check.register import Check, Register
from annot.tasks.open import open_loop
from annot.tasks.read import load_read

Score = dict[str, object]
AGREE = "they agree within their uncertainties"
DIFFER = "they differ by more than their uncertainties allow"


def scores_of_reads(reads: Sequence[Path]) -> list[Score]:
    """Return, for every loop of some reads that has an object, E_n of each of its header scales.

    A loop at fault gets a row that says so; the others go on.

    Raises
    ------
    InputError
        If a read file is at fault.
    """
    return [score for path in reads for score in _of_read(path)]


def objects_of_checks(register: Register) -> dict[str, list[tuple[Check, CheckedValue]]]:
    """Return, by SOP instance UID, what checks of rooms say of the header's scale of a loop.

    Only checks of one loop count: where there were several, a value is of one geometry among them.
    """
    found: dict[str, list[tuple[Check, CheckedValue]]] = {}
    for room in register.rooms():
        for check in register.checks(room):
            if len(check.loops) == 1:
                mine = [one for one in check.as_found if one.quantity == "scale_deviation"]
                found.setdefault(check.loops[0]["sop_instance_uid"], []).extend(
                    (check, one) for one in mine
                )
    return found


def scores_of_checks(
    known: Mapping[str, Sequence[tuple[Check, CheckedValue]]], met: Sequence[str]
) -> list[Score]:
    """Return E_n of header against object for every loop met that a check was made of.

    The object brings the check's uncertainty, the header its own allowance as stored distances
    have it; both with a coverage factor of 2.
    """
    header = 2 * 100 * GEOMETRY_REL.value / math.sqrt(3)
    scores: list[Score] = []
    for uid in met:
        for check, value in known[uid]:
            e_n = en_number(value.value, expanded=header, expanded_reference=2 * value.u)
            scores.append(
                {
                    "read": check.key,
                    "loop": check.loops[0]["file"],
                    "object": value.target,
                    "basis": value.note,
                    "object_mm_per_px": None,
                    "header_mm_per_px": None,
                    "e_n": e_n,
                    "verdict": f"header {value.value:+.2f} %: "
                    + (AGREE if abs(e_n) <= 1 else DIFFER),
                }
            )
    return scores


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
