"""`annot demo`: the whole way on synthetic loops, with the truth beside every number."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.status import Status

from annot.cli.printing import say, say_caution, say_json, say_table
from annot.exports import rows_of
from annot.tasks.rehearse import (
    Compared,
    FollowUp,
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
    """Render synthetic loops, scale and measure them, and print the truth beside each number."""
    screen = Console(stderr=True)
    if screen.is_terminal:
        with Status("starting", console=screen) as status:
            done = rehearse(out, seed=seed, progress=status.update)
            later = rehearse_followup(out, seed=seed, progress=status.update)
            study = rehearse_study(out, seed=seed, progress=status.update)
    else:
        done, later = rehearse(out, seed=seed), rehearse_followup(out, seed=seed)
        study = rehearse_study(out, seed=seed)
    if json:
        say_json({**_answer(done), "follow_up": _later(later), "study": _study(study)})
    else:
        _print(done, later)
        _print_study(study)
        say_caution()


def _answer(done: Rehearsal) -> dict[str, object]:
    rows = rows_of(one.entry for one in done.rows)
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
        "measurements": [
            {**row, "true_value": one.true_value, "holds": one.holds}
            for row, one in zip(rows, done.rows, strict=True)
        ],
    }


def _later(later: FollowUp) -> dict[str, object]:
    rows = rows_of(one.entry for one in later.rows)
    return {
        "read_file": str(later.read_file),
        "table": str(later.table),
        "page": str(later.page),
        "measurements": [
            {**row, "true_value": one.true_value, "holds": one.holds}
            for row, one in zip(rows, later.rows, strict=True)
        ],
    }


def _print(done: Rehearsal, later: FollowUp) -> None:
    say_table(
        "Scales, with the truth beside them",
        ("loop", "scale", ">mm/px ± u", ">95 % interval", ">true", "holds"),
        [_scale_row(one) for one in done.scales],
    )
    say("")
    say_table(
        "Measurements, with the truth beside them",
        ("loop", "quantity", ">frame", ">value ± u", ">95 % interval", "unit", ">true", "holds"),
        [_row(one) for one in done.rows],
    )
    judged = [one.holds for one in done.rows if one.holds is not None]
    unscaled = len(done.rows) - len(judged)
    say(
        f"{sum(judged)} of {len(judged)} intervals hold the truth. 95 in 100 are meant to, but "
        "rows under one scale err together, so these are fewer than that many trials. "
        f"{unscaled} measurements have no scale and stay in pixels."
    )
    say("")
    say_table(
        "After an invented implant, and by landmarks, with the truth as each view shows it",
        ("loop", "quantity", ">frame", ">value ± u", ">95 % interval", "unit", ">true", "holds"),
        [_row(one) for one in later.rows],
    )
    held = [one.holds for one in later.rows if one.holds is not None]
    say(f"{sum(held)} of {len(held)} of these intervals hold the truth.")
    say(
        f"Loops with their truth: {done.folder}\nRead file: {done.read_file}\n"
        f"Table: {done.table}\nPicture: {done.picture}\n"
        f"Follow-up read and table: {later.read_file}, {later.table}\n"
        f"Page to discuss the first table by: {later.page}"
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
        f"Echo loops read blinded by invented readers A and B, who are apart in "
        f"{len(study.apart)} of {study.frozen.rows} cases; those went to C."
    )
    say(f"Every reading: {study.readings}\nFinal values: {study.final}")
    say(
        f"Frozen after {head.sequence} events. Look into its store with\n"
        f"  annot audit verify {study.store}\n"
        f"  annot audit show {study.store} --study {head.study}"
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
        str(measurement.caliper.frame.frame),
        f"{found.value:.{places}f} ± {found.u:.{places}f}",
        f"{interval.low:.{places}f} to {interval.high:.{places}f}",
        measurement.result.unit,
        "–" if one.true_value is None else f"{one.true_value:.{places}f}",
        _word(one.holds),
    )


def _word(holds: bool | None) -> str:
    return "–" if holds is None else "yes" if holds else "NO"
