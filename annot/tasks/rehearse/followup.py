"""The demonstration after an invented implant: follow-up and landmarks, the truth beside each."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from annot.exports import JSON, TableEntry, write_whole
from annot.tasks.discussion import write_discussion
from annot.tasks.export import write_table
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read
from annot.tasks.rehearse.demo import (
    PLACING_PX,
    READER,
    STUDY,
    Compared,
    Fields,
    scale_part,
    strayed,
    write_demo_case,
)

if TYPE_CHECKING:
    from synthetic_dicom import Truth, WrittenLoop

LOOPS = ("us_implant", "xa_implant")
TOLERANCE_MM = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """What the follow-up's demonstration wrote and found."""

    read_file: Path
    table: Path
    page: Path
    rows: tuple[Compared, ...]


def rehearse_followup(
    folder: Path, *, seed: int = 1, progress: Callable[[str], None] = lambda _: None
) -> FollowUp:
    """Render an implant in both modalities, follow it up, and compare with the truth.

    Parameters
    ----------
    folder : Path
        Where `rehearse` has written its planning table.
    seed : int
        Of anatomy, noise and the invented reader's hand.
    """
    from synthetic_dicom.implant import Implant

    written = [write_demo_case(name, folder, seed, progress) for name in LOOPS]
    hand = random.Random(seed)
    content = {
        "annot_read": 1,
        "reader": READER,
        "study": STUDY,
        "protocol": "closure-follow-up",
        "implant": {"nominal_width_mm": Implant().nominal_mm, "tolerance_mm": TOLERANCE_MM},
        "loops": [_loop_part(one, hand) for one in written],
    }
    read_file, table, page = (
        folder / name for name in ("followup.json", "followup.csv", "discussion.html")
    )
    import json

    write_whole(read_file, json.dumps(content, indent=1) + "\n", replaces=JSON)
    entries = measure_read(load_read(read_file), folder, progress=progress)
    write_table(entries, table)
    write_discussion(folder / "table.csv", page)
    truths = {one.path.name: one.truth for one in written}
    compression = 1 - Implant().width_mm / Implant().nominal_mm
    return FollowUp(
        read_file=read_file,
        table=table,
        page=page,
        rows=tuple(_compared(one, truths[one.loop.file], compression) for one in entries),
    )


def _frame(truth: "Truth") -> int:
    if truth.modality == "US":
        return truth.largest_frame
    first, last = truth.image["first_filled_frame"], truth.image["last_filled_frame"]
    return int(min(max(truth.largest_frame, first), last))


def _loop_part(written: "WrittenLoop", hand: random.Random) -> Fields:
    """Return one loop's part of the read: the implant's numbers, and the landmarks."""
    truth, frame = written.truth, _frame(written.truth)

    def placed(points: tuple[tuple[float, float], ...]) -> list[list[float]]:
        return [strayed(point, (0.0, 0.0), hand, PLACING_PX) for point in points]

    return {
        "file": written.path.name,
        "sop_instance_uid": truth.sop_instance_uid,
        "scale": scale_part(truth, hand),
        "view": {"plane_deg": 45.0} if truth.modality == "US" else {},
        "conditions": {"loading": "not stated", "rhythm": "sinus", "moment": "largest ostium"},
        "calipers": [
            {
                "id": f"{truth.case}-{one.quantity}",
                "quantity": one.quantity,
                "frame": frame,
                "points_px": placed(one.points_px),
                "u_end_px": PLACING_PX,
            }
            for one in truth.device
            if one.frame == frame
        ],
        "landmarks": [
            {
                "name": one.name,
                "frame": frame,
                "points_px": placed(one.points_px),
                "u_px": PLACING_PX,
            }
            for one in truth.landmarks
            if one.frame == frame
        ],
    }


def _compared(entry: TableEntry, truth: "Truth", compression: float) -> Compared:
    """Put the truth of the view beside a row; what the view does not tell has none."""
    name, frame = entry.measurement.outcome.name, entry.measurement.caliper.frame.frame
    device = {one.quantity: one.value for one in truth.device if one.frame == frame}
    ostium, depth = (truth.caliper(each, frame) for each in ("ostium_width", "depth"))
    shown = math.cos(math.radians(depth.foreshortening_deg or 0.0))
    known = {
        **device,
        **{f"device_{place}_compression": compression for place in ("face", "shoulder", "end")},
        "ostium_by_landmarks": ostium.value_mm,
        "depth_straight": depth.value_mm * shown,
        **_bend(truth, frame),
    }
    scaled = not entry.measurement.result.unit.startswith("px")
    return Compared(entry=entry, true_value=known.get(name) if scaled else None)


def _bend(truth: "Truth", frame: int) -> dict[str, float]:
    """Return path and angle of the true landmarks in the view, by plain trigonometry."""
    marks = {one.name: one.points_px for one in truth.landmarks if one.frame == frame}
    size = truth.anatomy.mm_per_px
    outer, inner, end = (
        (row * size[0], column * size[1])
        for row, column in (*marks["neck_axis"], *marks["appendage_end"])
    )
    first, last, across = math.dist(outer, inner), math.dist(inner, end), math.dist(outer, end)
    cosine = (first**2 + last**2 - across**2) / (2 * first * last)
    return {
        "depth_bent": first + last,
        "neck_angle_by_landmarks": math.degrees(math.acos(max(-1.0, min(1.0, cosine)))),
    }
