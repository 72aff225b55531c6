"""`annot demo`: the whole way on synthetic loops, with the truth beside every number."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.status import Status

from annot.cli.printing import say, say_caution, say_json, say_table
from annot.exports import rows_of
from annot.tasks.rehearse import (
    ChangeCompared,
    Compared,
    FollowUp,
    QuantityHeld,
    Rehearsal,
    ScaleCompared,
    StudyRehearsal,
    rehearse,
    rehearse_followup,
    rehearse_study,
)
from annot.uncertainty import decimals_for


def demo(
    out: Annotated[Path, typer.Option(help="folder to write into")] = Path("demo"),
    seed: Annotated[int, typer.Option(min=0, help="another seed is another invented patient")] = 1,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Plan and follow up one invented case on rendered loops, the truth beside each number."""
    screen = Console(stderr=True)
    if screen.is_terminal:
        with Status("starting", console=screen) as status:
            done = rehearse(out, seed=seed, progress=status.update)
            later = rehearse_followup(done, seed=seed, progress=status.update)
            study = rehearse_study(out, seed=seed, progress=status.update)
    else:
        done = rehearse(out, seed=seed)
        later = rehearse_followup(done, seed=seed)
        study = rehearse_study(out, seed=seed)
    if json:
        say_json({**_answer(done), "follow_up": _later(later), "study": _study(study)})
    else:
        _print(done, later)
        _print_study(study)
        say_caution()


def _answer(done: Rehearsal) -> dict[str, object]:
    return {
        "folder": str(done.folder),
        "read_file": str(done.read_file),
        "table": str(done.table),
        "picture": str(done.picture),
        "scales": [
            {
                "loop": one.file,
                "kind": one.scale.kind,
                "mm_per_px_row": one.scale.row.value,
                "u": one.scale.row.u,
                "true_mm_per_px_row": one.true_value,
                "holds": one.scale.interval().holds(one.true_value),
            }
            for one in done.scales
        ],
        "measurements": _rows(done.rows),
        "quantities": [asdict(one) for one in done.quantities],
        "owed": done.owed.facts(),
    }


def _later(later: FollowUp) -> dict[str, object]:
    names = ("read_file", "table", "picture", "chart", "page", "later_page")
    return {
        **{name: str(getattr(later, name)) for name in names},
        "measurements": _rows(later.rows),
        "quantities": [asdict(one) for one in later.quantities],
        "changes": [
            {**one.change.facts(), "true_value": one.true_value, "holds": one.holds}
            for one in later.changes
        ],
        "owed": later.owed.facts(),
    }


def _rows(compared: Sequence[Compared]) -> list[dict[str, object]]:
    rows = rows_of(one.entry for one in compared)
    return [
        {**row, "true_value": one.true_value, "holds": one.holds}
        for row, one in zip(rows, compared, strict=True)
    ]


HEADS = ("loop", "quantity", ">value ± u", ">95 % interval", "unit", ">true", "holds")


def _print(done: Rehearsal, later: FollowUp) -> None:
    say_table(
        "1. Scales, with the truth beside them",
        ("loop", "scale", ">mm/px ± u", ">95 % interval", ">true", "holds"),
        [_scale_row(one) for one in done.scales],
    )
    say("")
    title = "2. Planning: what was drawn and what follows from landmarks, with the truth"
    say_table(title, HEADS, [_row(one) for one in done.rows])
    say(_held_words(done.owed.protocol, done.quantities, done.rows))
    say("")
    title = "3. Follow-up: the same case after an invented implant, with the truth"
    say_table(title, HEADS, [_row(one) for one in later.rows])
    say(_held_words(later.owed.protocol, later.quantities, later.rows))
    say("")
    say_table(
        "4. Changes since planning, shared errors taken out, with the truth",
        ("quantity", "view", ">after − before ± u", ">95 % interval", "unit", ">true", "holds"),
        [_change_row(one) for one in later.changes],
    )
    say("")
    for read, owed in ((done.read_file, done.owed), (later.read_file, later.owed)):
        say(
            f"{owed.protocol} still asks for {len(owed.missing)} things of this read, as a list "
            f"shows: annot protocol missing {read}"
        )
    say(
        f"\nLoops with their truth: {done.folder}\n"
        f"Planning read, table, picture: {done.read_file}, {done.table}, {done.picture}\n"
        f"Follow-up read, table, picture: {later.read_file}, {later.table}, {later.picture}\n"
        f"Pages to discuss them by: {later.page} (with {later.chart}), {later.later_page}"
    )


def _study(study: StudyRehearsal) -> dict[str, object]:
    head = study.frozen.anchor
    return {
        "folder": str(study.folder),
        "store": str(study.store),
        "readings": str(study.readings),
        "final": str(study.final),
        "study": head.study,
        "events": head.sequence,
        "head": head.digest,
        "apart": list(study.apart),
    }


def _print_study(study: StudyRehearsal) -> None:
    head = study.frozen.anchor
    say("")
    say(
        f"5. Echo loops read blinded by invented readers A and B, who are apart in "
        f"{len(study.apart)} of {study.frozen.rows} cases; those went to C."
    )
    say(f"Every reading: {study.readings}\nFinal values: {study.final}")
    say(
        f"Frozen after {head.sequence} events. Look into its store with\n"
        f"  annot audit verify {study.store}\n"
        f"  annot audit show {study.store} --study {head.study}"
    )


def _held_words(protocol: str, quantities: Sequence[QuantityHeld], rows: Sequence[Compared]) -> str:
    """Say how many intervals hold, and how every quantity of the protocol fares."""
    judged = [one.holds for one in rows if one.holds is not None]
    whole = [one for one in quantities if one.rows and one.held == one.rows]
    rest = [f"{one.quantity} {one.held} of {one.rows}" for one in quantities if one not in whole]
    but = f", not so: {', '.join(rest)}" if rest else ""
    unscaled = len(rows) - len(judged)
    return (
        f"{sum(judged)} of {len(judged)} intervals hold the truth; 95 in 100 are meant to, and "
        "rows under one scale err together. "
        f"{len(whole)} of the {len(quantities)} quantities of {protocol} lie within every "
        f"interval{but}."
        + (f" {unscaled} measurements have no scale and stay in pixels." if unscaled else "")
    )


def _change_row(one: ChangeCompared) -> tuple[str, ...]:
    found = one.change.difference
    places = decimals_for(found.u)
    return (
        one.change.quantity,
        one.change.view,
        f"{found.value:+.{places}f} ± {found.u:.{places}f}",
        f"{found.low:+.{places}f} to {found.high:+.{places}f}",
        found.unit,
        f"{one.true_value:+.{places}f}",
        _word(one.holds),
    )


def _scale_row(one: ScaleCompared) -> tuple[str, ...]:
    row, interval = one.scale.row, one.scale.interval()
    places = decimals_for(row.u)
    return (
        one.file,
        one.scale.kind,
        f"{row.value:.{places}f} ± {row.u:.{places}f}",
        f"{interval.low:.{places}f} to {interval.high:.{places}f}",
        f"{one.true_value:.{places}f}",
        _word(interval.holds(one.true_value)),
    )


def _row(one: Compared) -> tuple[str, ...]:
    measurement = one.entry.measurement
    found, interval = measurement.estimate, measurement.interval
    places = decimals_for(found.u)
    return (
        one.entry.loop.file,
        measurement.outcome.name,
        f"{found.value:.{places}f} ± {found.u:.{places}f}",
        f"{interval.low:.{places}f} to {interval.high:.{places}f}",
        measurement.result.unit,
        "–" if one.true_value is None else f"{one.true_value:.{places}f}",
        _word(one.holds),
    )


def _word(holds: bool | None) -> str:
    return "–" if holds is None else "yes" if holds else "NO"
