"""The demonstration: synthetic loops measured as a reader would, with the truth beside it.

The only place where the instrument meets the generator of truth.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from annot.calibration import PixelScale
from annot.errors import InputError
from annot.exports import JSON, TableEntry, write_whole
from annot.exports.figures import Panel
from annot.loops import Loop, open_loop
from annot.reads import Read, parse_request
from annot.tasks.calibrate import scale_loop
from annot.tasks.export import write_table
from annot.tasks.handover import HandOver, hand_over
from annot.tasks.measure import measure_read
from annot.tasks.picture import frame_panel, scale_lines, write_picture
from annot.tasks.read import load_read, rules_of
from annot.tasks.rehearse.invented_reader import READER, STUDY, Fields, loop_part
from annot.tasks.rehearse.truth_beside import (
    Compared,
    QuantityHeld,
    held_by_quantity,
    true_value_of,
)

if TYPE_CHECKING:
    from synthetic_dicom import Truth, WrittenLoop

XRAY = ("xa_clean", "xa_caudal", "xa_sphere")
PLANES = ("us_000", "us_045", "us_090", "us_135")
ECHO = (*PLANES, "us_square_ostium", "us_square_zone", "us_no_region")


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleCompared:
    """A loop's scale beside the true one at the anatomy's depth."""

    file: str
    scale: PixelScale
    true_value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What the demonstration wrote and found.

    `quantities` is every quantity of the protocol with how its rows hold their truths, `owed`
    what the protocol still asks for.
    """

    folder: Path
    read_file: Path
    table: Path
    picture: Path
    rows: tuple[Compared, ...]
    scales: tuple[ScaleCompared, ...]
    quantities: tuple[QuantityHeld, ...]
    owed: HandOver


def rehearse(
    folder: Path, *, seed: int = 1, progress: Callable[[str], None] = lambda _: None
) -> Rehearsal:
    """Write synthetic loops and a planning read, measure it, and compare with the truth.

    Parameters
    ----------
    folder : Path
        Made if it is not there; files of the demonstration's own names are replaced.
    seed : int
        Of anatomy, noise and the invented reader's hand.

    Raises
    ------
    InputError
        If the folder cannot be made or written.
    """
    _make(folder)
    written = {name: write_demo_case(name, folder, seed, progress) for name in (*XRAY, *ECHO)}
    content = {
        "annot_read": 1,
        "reader": READER,
        "study": STUDY,
        "protocol": "closure-planning",
        "loops": [loop_part(one.truth, seed=seed, after=False) for one in written.values()],
    }
    files = {name: folder / name for name in ("read.json", "table.csv", "picture.png")}
    read, entries = measured(content, files["read.json"], files["table.csv"], progress)
    truths = {one.path.name: one.truth for one in written.values()}
    write_picture(_panels(folder, read, entries), files["picture.png"])
    rows = compared(entries, truths)
    return Rehearsal(
        folder=folder,
        read_file=files["read.json"],
        table=files["table.csv"],
        picture=files["picture.png"],
        rows=rows,
        scales=_scales_compared(entries, truths),
        quantities=held_by_quantity(rules_of(read), rows),
        owed=hand_over(read, entries),
    )


def measured(
    content: Fields, read_file: Path, table: Path, progress: Callable[[str], None]
) -> tuple[Read, list[TableEntry]]:
    """Write a read file, measure it as `annot measure` does, and write its table."""
    write_whole(read_file, json.dumps(content, indent=1) + "\n", replaces=JSON)
    read = load_read(read_file)
    entries = measure_read(
        read, read_file.parent, progress=lambda name: progress(f"measuring {name}")
    )
    write_table(entries, table)
    return read, entries


def compared(entries: list[TableEntry], truths: "dict[str, Truth]") -> tuple[Compared, ...]:
    """Put the truth beside every row."""
    from synthetic_dicom.implant import Implant

    nominal = Implant().nominal_mm
    return tuple(
        Compared(
            entry=one,
            true_value=true_value_of(one, truths[one.loop.file], nominal_mm=nominal),
        )
        for one in entries
    )


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(f"{folder}: the folder cannot be made: {fault.strerror}.") from None


def write_demo_case(
    name: str, folder: Path, seed: int, progress: Callable[[str], None]
) -> "WrittenLoop":
    """Render one case in the encoding that such a loop usually has."""
    from synthetic_dicom import write_case

    progress(f"rendering {name}")
    encoding = "explicit" if name.startswith("xa") else "jpeg"
    try:
        return write_case(name, folder, seed=seed, encoding=encoding)
    except OSError as fault:
        raise InputError(f"{folder}: {name} cannot be written: {fault.strerror}.") from None


def _scales_compared(
    entries: list[TableEntry], truths: "dict[str, Truth]"
) -> tuple[ScaleCompared, ...]:
    found: dict[str, ScaleCompared] = {}
    for entry in entries:
        scale, file = entry.measurement.scale, entry.loop.file
        if isinstance(scale, PixelScale) and file not in found:
            true = truths[file].anatomy.mm_per_px[0]
            found[file] = ScaleCompared(file=file, scale=scale, true_value=true)
    return tuple(found.values())


def _panels(folder: Path, read: Read, entries: list[TableEntry]) -> list[Panel]:
    """Return a calibrated X-ray frame, the measured frame and an echo frame, side by side."""
    loops = {one.file: one for one in read.loops}
    panels = []
    for name in (f"{XRAY[0]}.dcm", f"{ECHO[2]}.dcm"):
        loop = open_loop(folder / name)
        own = [entry for entry in entries if entry.loop.file == name]
        if loops[name].calipers and own:
            panels.append(frame_panel(loop, own, own[0].measurement.caliper.frame.frame))
    return [_calibrated(folder, loops[f"{XRAY[0]}.dcm"].file), *panels]


def _calibrated(folder: Path, name: str) -> Panel:
    loop: Loop = open_loop(folder / name)
    parts = json.loads((folder / "read.json").read_text(encoding="utf-8"))["loops"]
    scale = next(part["scale"] for part in parts if part["file"] == name)
    answer = scale_loop(loop, parse_request(scale, name=name))
    return Panel(
        frame=loop.frame(0),
        title=f"{name}, frame 0: reference object as fitted",
        lines=scale_lines(answer),
    )
