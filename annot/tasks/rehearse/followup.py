"""The demonstration after an invented implant: follow-up, and what changed since planning."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from annot.exports import TableEntry
from annot.exports.figures import Panel
from annot.tasks.discussion import write_discussion
from annot.tasks.followup import changes_of_tables
from annot.tasks.handover import HandOver, hand_over
from annot.tasks.open import open_loop
from annot.tasks.picture import frame_panel, write_picture
from annot.tasks.read import rules_of
from annot.tasks.rehearse.demo import Rehearsal, compared, measured, write_demo_case
from annot.tasks.rehearse.invented_reader import READER, STUDY, loop_part
from annot.tasks.rehearse.truth_beside import (
    ChangeCompared,
    Compared,
    QuantityHeld,
    changes_compared,
    held_by_quantity,
)

LOOPS = ("us_implant", "xa_implant")
TOLERANCE_MM = 0.1
COMPRESSION = "_compression"
# told apart by colour-blind eyes (Okabe and Ito), bright enough on grey
PALETTE = ("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#D55E00", "#CC79A7")
# own invention: rows that overlap and leave no gap, for no device there is
CHART = """label,nominal_mm,width_from_mm,width_to_mm,least_depth_mm
row 1,19,14,17,10
row 2,22,16.5,19.5,11
row 3,25,19,22.5,12
row 4,28,22,25.5,13
row 5,31,25,28.5,14
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """What the follow-up's demonstration wrote and found; see `Rehearsal`."""

    read_file: Path
    table: Path
    picture: Path
    chart: Path
    page: Path
    later_page: Path
    rows: tuple[Compared, ...]
    quantities: tuple[QuantityHeld, ...]
    changes: tuple[ChangeCompared, ...]
    owed: HandOver


def rehearse_followup(
    planned: Rehearsal, *, seed: int = 1, progress: Callable[[str], None] = lambda _: None
) -> FollowUp:
    """Render an implant in both modalities, follow it up, and compare with the truth.

    Parameters
    ----------
    planned : Rehearsal
        Of the same case; the follow-up is written into its folder.
    seed : int
        The same as of `planned`: of anatomy, noise and the invented reader's hand.
    """
    from synthetic_dicom.implant import Implant

    folder = planned.folder
    written = [write_demo_case(name, folder, seed, progress) for name in LOOPS]
    content = {
        "annot_read": 1,
        "reader": READER,
        "study": STUDY,
        "protocol": "closure-follow-up",
        "implant": {"nominal_width_mm": Implant().nominal_mm, "tolerance_mm": TOLERANCE_MM},
        "loops": [loop_part(one.truth, seed=seed, after=True) for one in written],
    }
    table, chart = folder / "followup.csv", folder / "chart.csv"
    read, entries = measured(content, folder / "followup.json", table, progress)
    rows = compared(entries, {one.path.name: one.truth for one in written})
    write_picture(_panels(folder, entries), folder / "followup.png")
    chart.write_text(CHART, encoding="utf-8")
    progress("writing the pages")
    write_discussion(planned.table, folder / "discussion.html", chart=chart)
    write_discussion(table, folder / "followup.html", planning=planned.table)
    return FollowUp(
        read_file=folder / "followup.json",
        table=table,
        picture=folder / "followup.png",
        chart=chart,
        page=folder / "discussion.html",
        later_page=folder / "followup.html",
        rows=rows,
        quantities=held_by_quantity(rules_of(read), rows),
        changes=changes_compared(changes_of_tables(planned.table, table), planned.rows, rows),
        owed=hand_over(read, entries),
    )


def _panels(folder: Path, entries: list[TableEntry]) -> list[Panel]:
    """Return the frames that were read, with so few calipers each that all can be told apart."""
    panels = []
    for name in LOOPS:
        drawn = [
            one
            for one in entries
            if one.loop.file == f"{name}.dcm" and one.measurement.caliper.origin == "drawn"
        ]
        frame = drawn[0].measurement.caliper.frame.frame
        widths = [one for one in drawn if not one.measurement.outcome.name.endswith(COMPRESSION)]
        whole = frame_panel(open_loop(folder / f"{name}.dcm"), widths, frame)
        for start in range(0, len(whole.lines), len(PALETTE)):
            few = whole.lines[start : start + len(PALETTE)]
            lines = tuple(
                replace(line, colour=colour) for line, colour in zip(few, PALETTE, strict=False)
            )
            panels.append(replace(whole, lines=lines))
    return panels
