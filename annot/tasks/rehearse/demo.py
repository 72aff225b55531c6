"""The demonstration: synthetic loops measured as a reader would, with the truth beside it.

The only place where the instrument meets the generator of truth.
"""

import random
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
from annot.tasks.measure import measure_read
from annot.tasks.picture import frame_panel, scale_lines, write_picture
from annot.tasks.read import load_read

if TYPE_CHECKING:
    from synthetic_dicom import Truth, WrittenLoop

READER = "demo-reader"
STUDY = "HARBOUR-01"
PLACING_PX = 0.8  # how far the invented reader's hand strays from a true end, standard deviation
XRAY = ("xa_clean", "xa_caudal", "xa_sphere")
ECHO = ("us_000", "us_045", "us_090", "us_135", "us_no_region")
Fields = dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A measurement beside its truth; `true_value` is None where there is no millimetre."""

    entry: TableEntry
    true_value: float | None

    @property
    def holds(self) -> bool | None:
        """Whether the interval holds the truth, None where nothing can be said."""
        if self.true_value is None:
            return None
        return self.entry.measurement.interval.holds(self.true_value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleCompared:
    """A loop's scale beside the true one at the anatomy's depth."""

    file: str
    scale: PixelScale
    true_value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What the demonstration wrote and found."""

    folder: Path
    read_file: Path
    table: Path
    picture: Path
    rows: tuple[Compared, ...]
    scales: tuple[ScaleCompared, ...]


def rehearse(
    folder: Path, *, seed: int = 1, progress: Callable[[str], None] = lambda _: None
) -> Rehearsal:
    """Write synthetic loops and a read file, measure them, and compare with the truth.

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
    hand = random.Random(seed)
    content = {
        "annot_read": 1,
        "reader": READER,
        "study": STUDY,
        "loops": [_loop_part(one, hand) for one in written.values()],
    }
    files = {name: folder / name for name in ("read.json", "table.csv", "picture.png")}
    write_whole(files["read.json"], _json(content), replaces=JSON)
    read = load_read(files["read.json"])
    entries = measure_read(read, folder, progress=lambda name: progress(f"measuring {name}"))
    write_table(entries, files["table.csv"])
    truths = {one.path.name: one.truth for one in written.values()}
    write_picture(_panels(folder, read, entries), files["picture.png"])
    return Rehearsal(
        folder=folder,
        read_file=files["read.json"],
        table=files["table.csv"],
        picture=files["picture.png"],
        rows=tuple(_compared(entry, truths[entry.loop.file]) for entry in entries),
        scales=_scales_compared(entries, truths),
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


def _json(content: Fields) -> str:
    import json

    return json.dumps(content, indent=1) + "\n"


def _loop_part(written: "WrittenLoop", hand: random.Random) -> Fields:
    """Return one loop's part of the read as the invented reader would write it."""
    truth = written.truth
    part: Fields = {
        "file": written.path.name,
        "sop_instance_uid": truth.sop_instance_uid,
        "scale": scale_part(truth, hand),
        "conditions": {"loading": "not stated", "rhythm": "sinus"},
        "calipers": caliper_parts(truth, hand),
    }
    return part


def scale_part(truth: "Truth", hand: random.Random) -> Fields:
    """Trace the reference object roughly; a catheter in several frames before contrast comes."""
    if truth.modality == "US":
        return {"kind": "header"}
    one = truth.objects[0]
    frames = range(5)
    if one.kind == "sphere":
        assert one.centre_px is not None
        assert one.radius_px is not None
        looks = [
            {
                "frame": frame,
                "centre_px": strayed(one.centre_px, one.shift_px[frame], hand, sd_px=2.0),
                "radius_px": round(one.radius_px * 1.05, 1),
            }
            for frame in frames
        ]
        return {
            "kind": "sphere",
            "diameter_mm": one.size_mm,
            "tolerance_mm": 0.02,
            "depth_offset_mm": 30,
            "readings": looks,
        }
    assert one.axis_px is not None
    traces = [
        {
            "frame": frame,
            "axis_px": [
                strayed(point, one.shift_px[frame], hand, sd_px=1.5) for point in one.axis_px
            ],
        }
        for frame in frames
    ]
    return {
        "kind": "catheter",
        "size_mm": one.size_mm,
        "tolerance_mm": 0.01,
        "other_mm": one.inner_mm,
        "filling": one.filling,
        "depth_offset_mm": 20,
        "readings": traces,
    }


def caliper_parts(truth: "Truth", hand: random.Random) -> list[Fields]:
    """Draw each quantity where the ostium is largest, ends strayed by the reader's hand."""
    frame = truth.largest_frame
    if truth.modality != "US":
        first, last = truth.image["first_filled_frame"], truth.image["last_filled_frame"]
        frame = int(min(max(frame, first), last))
    name = truth.case
    parts: list[Fields] = []
    for quantity in ("ostium_width", "landing_zone_width", "depth"):
        true = truth.caliper(quantity, frame)
        part: Fields = {
            "id": f"{name}-{quantity.removesuffix('_width')}",
            "quantity": quantity,
            "frame": frame,
            "points_px": [strayed(point, (0.0, 0.0), hand, PLACING_PX) for point in true.points_px],
            "u_end_px": PLACING_PX,
            "moment": "largest ostium",
        }
        if true.view_deg is not None:
            part["view_deg"] = round(true.view_deg % 180.0, 3)
        if quantity == "depth":
            part["tilt_deg"] = 20
        elif truth.modality == "US":
            part["tilt_deg"] = 5
        parts.append(part)
    return parts


def strayed(
    point: tuple[float, float], shift: tuple[float, float], hand: random.Random, sd_px: float
) -> list[float]:
    """Return where an unsteady hand puts a point that has moved by a shift."""
    return [
        round(place + moved + hand.gauss(0.0, sd_px), 2)
        for place, moved in zip(point, shift, strict=True)
    ]


def _compared(entry: TableEntry, truth: "Truth") -> Compared:
    caliper = entry.measurement.caliper
    if entry.measurement.result.unit != "mm":
        return Compared(entry=entry, true_value=None)
    true = truth.caliper(caliper.measurand.name, caliper.frame.frame)
    return Compared(entry=entry, true_value=true.value_mm)


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
    import json

    parts = json.loads((folder / "read.json").read_text(encoding="utf-8"))["loops"]
    scale = next(part["scale"] for part in parts if part["file"] == name)
    answer = scale_loop(loop, parse_request(scale, name=name))
    return Panel(
        frame=loop.frame(0),
        title=f"{name}, frame 0: reference object as fitted",
        lines=scale_lines(answer),
    )
