"""`annot track`: one caliper followed through its loop, its number over time."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.geometry import PixelPoint
from annot.measurement.curve_summary import BeatExtremes, Extreme
from annot.reads import Read
from annot.tasks.read import load_read
from annot.tasks.track import (
    TrackedCaliper,
    curve_rows_of,
    read_of_one,
    track_caliper,
    write_curve,
    write_curve_picture,
)
from annot.uncertainty import MeasurementResult, decimals_for, estimate, value_with_u


def track(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    source: Annotated[Path, typer.Argument(help="a read file (JSON), or a loop")],
    ident: Annotated[str | None, typer.Option("--id", help="the caliper, in a read file")] = None,
    caliper: Annotated[
        str | None, typer.Option(help="row,column,row,column on a loop; its header's scale")
    ] = None,
    frame: Annotated[int, typer.Option(help="the frame, from 0, that --caliper lies on")] = 0,
    quantity: Annotated[str, typer.Option(help="what --caliper measures")] = "distance",
    output: Annotated[Path | None, typer.Option("-o", "--output", help="write CSV here")] = None,
    picture: Annotated[Path | None, typer.Option(help="write a picture of the curve (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Follow a caliper through its loop: the curve, its largest and smallest, beat by beat."""
    read, folder, key = _asked(source, ident, caliper, frame, quantity)
    tracked = track_caliper(read, folder, key)
    if output is not None:
        write_curve(tracked, output)
    if picture is not None:
        write_curve_picture(tracked, picture)
    if json:
        say_json(_answer(tracked))
        return
    _print(tracked)
    for path in (output, picture):
        if path is not None:
            say(f"Written: {path}")
    say_warnings(tracked.warnings)
    say_caution()


def _asked(
    source: Path, ident: str | None, caliper: str | None, frame: int, quantity: str
) -> tuple[Read, Path, str]:
    if (ident is None) == (caliper is None):
        raise typer.BadParameter("name a read file's caliper by --id, or draw one by --caliper")
    if ident is not None:
        return load_read(source), source.parent, ident
    try:
        numbers = [float(part) for part in str(caliper).split(",")]
    except ValueError:
        numbers = []
    if len(numbers) < 4 or len(numbers) % 2:
        raise typer.BadParameter("--caliper takes row,column,row,column")
    points = tuple(PixelPoint(*numbers[k : k + 2]) for k in range(0, len(numbers), 2))
    read = read_of_one(source, quantity, frame, points)
    return read, Path(), read.loops[0].calipers[0].key


def _print(tracked: TrackedCaliper) -> None:
    rows = curve_rows_of(tracked)
    cells = []
    for row in rows:
        places = decimals_for(float(row["u"] or 0))
        cells.append(
            (
                str(row["frame"]),
                f"{row['time_ms']:.0f}",
                f"{row['value']:.{places}f} ± {row['u']:.{places}f} {row['unit']}",
                f"{row['low']:.{places}f} … {row['high']:.{places}f}",
                f"{row['smoothed']:.{places}f}",
                f"{row['correlation']:.2f}",
                str(row["origin"]),
            )
        )
    say_table(
        f"{tracked.caliper.measurand.title} over time",
        (">frame", ">ms", ">value ± u", ">95 % interval", ">smoothed", ">likeness", "origin"),
        cells,
    )
    summary = tracked.summary
    say_table(
        "Largest and smallest of the smoothed curve",
        ("", "which", ">value ± u", ">95 % interval", ">frame", ">phase", ">taken off"),
        [
            _extreme_row("all", "largest", summary.largest),
            _extreme_row("all", "smallest", summary.smallest),
            *(row for beat in summary.beats for row in _beat_rows(beat)),
        ],
    )
    say(f"Change from smallest to largest {_words(summary.change)}.")
    if summary.mean_largest is not None:
        spread = summary.sd_between_beats
        beats = "" if spread is None else f"; beats differ by {spread:.2g} (standard deviation)"
        say(f"Mean of the beats' largest {_words(summary.mean_largest)}{beats}.")


def _beat_rows(beat: BeatExtremes) -> list[tuple[str, ...]]:
    name = f"beat {beat.beat}" + ("" if beat.whole else ", in part")
    return [
        _extreme_row(name, "largest", beat.largest),
        _extreme_row(name, "smallest", beat.smallest),
    ]


def _extreme_row(name: str, which: str, extreme: Extreme) -> tuple[str, ...]:
    found = estimate(extreme.result)
    interval, places = found.interval, decimals_for(found.u)
    phase = extreme.phase.percent if extreme.phase is not None else None
    return (
        name,
        which,
        f"{value_with_u(found.value, found.u)} {extreme.result.unit}",
        f"{interval.low:.{places}f} … {interval.high:.{places}f}",
        str(extreme.frame),
        "–" if phase is None else f"{phase:.0f} %",
        f"{extreme.removed:.{places + 1}f}",
    )


def _words(result: MeasurementResult) -> str:
    found = estimate(result)
    return f"{value_with_u(found.value, found.u)} {result.unit}"


def _answer(tracked: TrackedCaliper) -> dict[str, object]:
    summary = tracked.summary
    return {
        "loop": tracked.file,
        "caliper_id": tracked.caliper.key,
        "quantity": tracked.caliper.measurand.name,
        "curve": curve_rows_of(tracked),
        "largest": _extreme_answer(summary.largest),
        "smallest": _extreme_answer(summary.smallest),
        "change": _estimate(summary.change),
        "beats": [
            {
                "beat": beat.beat,
                "frames": beat.frames,
                "whole": beat.whole,
                "largest": _extreme_answer(beat.largest),
                "smallest": _extreme_answer(beat.smallest),
            }
            for beat in summary.beats
        ],
        "mean_largest": _estimate(summary.mean_largest) if summary.mean_largest else None,
        "sd_between_beats": summary.sd_between_beats,
        "drift_px": tracked.track.drift_px,
        "warnings": list(tracked.warnings),
    }


def _estimate(result: MeasurementResult) -> dict[str, object]:
    found = estimate(result)
    return {
        "value": found.value,
        "u": found.u,
        "low": found.interval.low,
        "high": found.interval.high,
        "unit": result.unit,
    }


def _extreme_answer(extreme: Extreme) -> dict[str, object]:
    phase = extreme.phase
    return {
        **_estimate(extreme.result),
        "frame": extreme.frame,
        "time_ms": extreme.time_ms,
        "beat": phase.beat if phase else None,
        "phase_percent": phase.percent if phase else None,
        "removed": extreme.removed,
    }
