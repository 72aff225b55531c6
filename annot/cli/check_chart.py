"""`annot check chart`: one quantity of a room over time, with limits that stand as recorded."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from annot.cli.check_register import Json, Where
from annot.cli.printing import say, say_json, say_table, say_warnings
from annot.errors import InputError

if TYPE_CHECKING:
    from annot.quality import ControlChart
    from annot.tasks.check.chart import RoomChart
    from annot.tasks.check.register import Register


def chart(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    store: Where,
    room: Annotated[str, typer.Option(help="the room, as entered")],
    quantity: Annotated[
        str | None, typer.Option(help="what is charted, for instance 'scale_deviation ball-10'")
    ] = None,
    kind: Annotated[
        str,
        typer.Option("--chart", help="individuals, moving-range, mean, spread, weighted or sums"),
    ] = "individuals",
    set_limits: Annotated[
        bool, typer.Option("--set-limits", help="record limits from all checks so far")
    ] = False,
    leave_out: Annotated[
        list[str] | None, typer.Option(help="key of a check that the baseline leaves out")
    ] = None,
    by: Annotated[str, typer.Option(help="with --set-limits: who")] = "",
    reason: Annotated[str, typer.Option(help="why limits are set anew, or checks left out")] = "",
    picture: Annotated[Path | None, typer.Option(help="write the chart as PNG")] = None,
    json: Json = False,
) -> None:
    """Chart one quantity of a room, with run rules and limits that never move by themselves."""
    from annot.tasks.audit import opened
    from annot.tasks.check.chart import ChartName, record_baseline, room_chart
    from annot.tasks.check.register import Register

    register = Register(opened(store))
    register.room(room)
    name = ChartName(room=room, quantity=quantity or _only_one(register, room), kind=kind)
    if set_limits:
        if leave_out and not reason:
            raise InputError("Checks are left out of a baseline for a reason: give --reason.")
        record_baseline(register, name, left_out=leave_out or (), by=by, reason=reason)
    found = room_chart(register, name)
    if picture is not None:
        from annot.tasks.check.report import write_chart

        write_chart(found, picture)
    if json:
        facts = found.facts()
        say_json(facts[0] if len(facts) == 1 else facts)
        return
    _say(found)


def _only_one(register: "Register", room: str) -> str:
    """Return the quantity where there is one with limits or one at all."""
    from annot.tasks.check.chart import quantities_of

    known = quantities_of(register.checks(room))
    if len(known) == 1:
        return next(iter(known))
    there = "; ".join(known) or "nothing was checked yet"
    raise InputError(f"Say which quantity of {room} with --quantity: {there}.")


def _say(found: "RoomChart") -> None:
    from annot.tasks.check.chart import run_length_words

    phase = "phase II" if found.limits else "phase I"
    say(f"{found.name.room}: {found.name.quantity}, {phase}.")
    for one in found.charts:
        say_table(
            f"{one.kind}: centre {one.centre:.4g} {found.unit}",
            ("check", "day", f">value, {found.unit}", ">lower", ">upper", "signal"),
            _rows(found, one),
        )
    if found.note:
        say_warnings([found.note])
    words = run_length_words(found)
    if words:
        say(f"{words}.")


def _rows(found: "RoomChart", one: "ControlChart") -> list[tuple[str, ...]]:
    # a moving range has no point for the first check
    points = found.points[len(found.points) - len(one.points) :]
    spoken: dict[int, list[str]] = {}
    for each in one.signals:
        spoken.setdefault(each.point, []).append(each.rule)
    return [
        (
            point.key,
            point.day.isoformat(),
            f"{value:.4g}",
            f"{one.lower[index]:.4g}",
            f"{one.upper[index]:.4g}",
            "; ".join(spoken.get(index, [])),
        )
        for index, (point, value) in enumerate(zip(points, one.points, strict=True))
    ]
