"""`annot check new` and `annot check due`: the register of rooms and reference objects."""

from datetime import UTC, date, datetime
from typing import Annotated

import typer

from annot.cli.printing import say, say_json, say_table
from annot.errors import InputError

Where = Annotated[str, typer.Option("--store", help="the store: a file, or postgresql://host/name")]
By = Annotated[str, typer.Option(help="who does this")]
Why = Annotated[str, typer.Option(help="why what is there already changes")]
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]

new = typer.Typer(
    name="new", help="Enter a room or a reference object in the register.", no_args_is_help=True
)


@new.command()
def room(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    name: Annotated[str, typer.Argument(help="the room's name")],
    store: Where,
    by: By,
    modality: Annotated[str, typer.Option(help="XA or US")] = "XA",
    every: Annotated[int, typer.Option(min=1, help="days from check to check")] = 30,
    system: Annotated[
        list[str] | None, typer.Option(help="its imaging system, as annot check sweep shows it")
    ] = None,
    note: str = "",
    reason: Why = "",
) -> None:
    """Enter a room or an ultrasound system."""
    from annot.tasks.check.reference import Room
    from annot.tasks.check.register import register_at

    entered = Room(
        name=name, modality=modality, every_days=every, systems=tuple(system or ()), note=note
    )
    register_at(store).enter(entered, by=by, reason=reason)
    say(f"Room {name} is in the register.")


@new.command(name="object")
def reference(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    name: Annotated[str, typer.Argument(help="the object's name")],
    kind: Annotated[str, typer.Option(help="sphere, grid, step, markers or targets")],
    size: Annotated[
        float, typer.Option("--size-mm", help="certificate value: diameter or spacing")
    ],
    tolerance: Annotated[
        float, typer.Option("--tolerance-mm", help="half-width that holds the true size")
    ],
    store: Where,
    by: By,
    certificate: Annotated[str, typer.Option(help="number of its certificate")] = "",
    due: Annotated[str | None, typer.Option(help="day of its next calibration, YYYY-MM-DD")] = None,
    reason: Why = "",
) -> None:
    """Enter a reference object with its certificate."""
    from annot.tasks.check.reference import KINDS, Reference
    from annot.tasks.check.register import register_at

    known = next((one for one in KINDS if one == kind), None)
    if known is None:
        raise typer.BadParameter(f"--kind takes {', '.join(KINDS)}, not '{kind}'")
    entered = Reference(
        name=name,
        kind=known,
        size_mm=size,
        tolerance_mm=tolerance,
        certificate=certificate,
        due=day_of(due) if due else None,
    )
    register_at(store).enter(entered, by=by, reason=reason)
    say(f"Object {name} is in the register.")


def due(
    store: Where,
    on: Annotated[str | None, typer.Option(help="as of this day, YYYY-MM-DD")] = None,
    json: Json = False,
) -> None:
    """List rooms and reference objects by when they are due."""
    from annot.tasks.audit import opened
    from annot.tasks.check.due import due_dates
    from annot.tasks.check.register import Register

    found = due_dates(Register(opened(store)), today=day_of(on) if on else today())
    if json:
        say_json([one.facts() for one in found])
        return
    if not found:
        say("The register is empty: see annot check new.")
        return
    say_table(
        "Due",
        ("what", "name", "last check", "due", ">days left", "state"),
        [
            (
                one.what,
                one.name,
                str(one.last or "–"),
                str(one.due or "never"),
                "–" if one.days_left is None else str(one.days_left),
                one.state,
            )
            for one in found
        ],
    )


def today() -> date:
    """Return the present day, in UTC as the store has it."""
    return datetime.now(UTC).date()


def day_of(text: str) -> date:
    """Return a day written as YYYY-MM-DD."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text}' is no day: write it as YYYY-MM-DD.") from None
