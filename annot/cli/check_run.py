"""`annot check run`: look for reference objects in loops of a room and judge what they tell."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from annot.cli.check_register import By, Json, Where, today
from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from annot.quality.judgement import CheckedValue
    from annot.tasks.check.affected import Affected
    from annot.tasks.check.register import Check, Register

MOST_PRINTED = 30


def run(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    loops: Annotated[list[Path], typer.Argument(help="loops of one room with its phantoms")],
    store: Where,
    room: Annotated[str, typer.Option(help="the room, as entered")],
    objects: Annotated[
        list[str], typer.Option("--object", help="a reference object in the loops, as entered")
    ],
    by: By,
    depth: Annotated[
        float, typer.Option("--depth-mm", help="the phantom lies on the isocentre within ± this")
    ] = 10.0,
    tilt: Annotated[float, typer.Option("--tilt-deg", help="and is tilted by at most this")] = 2.0,
    limit: Annotated[
        float, typer.Option("--limit-percent", help="allowed deviation of the header's scale")
    ] = 3.0,
    as_left: Annotated[
        str | None,
        typer.Option(
            help="key of the check that found the room wrong: these loops show it set right"
        ),
    ] = None,
    reason: Annotated[str, typer.Option(help="with --as-left: what was done")] = "",
    tables: Annotated[
        list[Path] | None,
        typer.Option("--table", help="measurement tables: what a failed check throws doubt on"),
    ] = None,
    journals: Annotated[
        list[Path] | None,
        typer.Option("--sweep", help="journals of sweeps: which room a loop is of, and its day"),
    ] = None,
    json: Json = False,
) -> None:
    """Check a room: phantoms are found by themselves, judged with guard bands, and kept."""
    from annot.tasks.audit import opened
    from annot.tasks.check.phantom_run import RunSettings
    from annot.tasks.check.phantom_values import XrayLimits
    from annot.tasks.check.register import Register
    from annot.tasks.check.run import CheckPlan, keep_as_left, keep_check, run_check
    from annot.tasks.check.strangers import strangers

    register = Register(opened(store))
    known = register.room(room)
    plan = CheckPlan(
        references=tuple(register.reference(name) for name in objects),
        settings=RunSettings(depth_mm=depth, tilt_deg=tilt),
        xray=XrayLimits(scale_percent=limit),
    )
    done = run_check(loops, plan, room=room, today=today())
    if not done.check.as_found:
        raise InputError(
            f"Nothing was found that could be checked, and nothing is kept: "
            f"{'; '.join(done.check.missing) or 'name the objects that the loops show'}."
        )
    if as_left:
        kept = keep_as_left(register, as_left, done, by=by, reason=reason)
    else:
        kept = keep_check(register, done, by=by)
    doubtful = _doubtful(register, kept, tables or [], journals or [])
    warnings = (*done.warnings, *strangers(known, loops))
    if json:
        say_json(
            {
                **kept.facts(),
                "warnings": list(warnings),
                "in_doubt": None if doubtful is None else [one.facts() for one in doubtful],
            }
        )
        return
    _say(kept, done.check.as_found, warnings)
    if known.modality == "XA":
        say(
            f"Taken for granted: phantoms within ± {depth:g} mm of the isocentre (--depth-mm), "
            f"tilted by at most {tilt:g}° (--tilt-deg)."
        )
    _say_doubtful(kept, doubtful)
    say_caution()


def _doubtful(
    register: "Register", check: "Check", tables: "Sequence[Path]", journals: "Sequence[Path]"
) -> "tuple[Affected, ...] | None":
    """Return what a failed check throws doubt on; None where nobody can know it."""
    from annot.tasks.check.affected import affected, last_good

    if check.found == "pass":
        return ()
    good = last_good(register.checks(check.room), check)
    room = register.room(check.room)
    if not room.systems:
        return None
    return affected(
        room,
        good.taken if good else None,
        tables=tables,
        journals=journals,
        store=register.store,
    )


def _say(check: "Check", values: "Sequence[CheckedValue]", warnings: "Sequence[str]") -> None:
    say_table(
        f"{check.key}: found {check.found}, left {check.left}",
        ("quantity", "object", ">value ± u", ">95 % interval", "limits", ">wrong pass", "verdict"),
        [_row(one) for one in values],
    )
    say_warnings([*check.missing, *warnings])


def _row(one: "CheckedValue") -> tuple[str, ...]:
    limits = "–"
    if one.limit_low is not None or one.limit_high is not None:
        low = "" if one.limit_low is None else f"{one.limit_low:g}"
        high = "" if one.limit_high is None else f"{one.limit_high:g}"
        limits = f"{low} … {high} {one.unit}"
    chance = one.chance_of_wrong_pass
    return (
        one.quantity.replace("_", " "),
        one.target or "–",
        f"{one.value:.3f} ± {one.u:.3f} {one.unit}",
        f"{one.low:.3f} … {one.high:.3f}",
        limits,
        "–" if chance is None else f"{100 * chance:.1f} %",
        one.verdict,
    )


def _say_doubtful(check: "Check", found: "Sequence[Affected] | None") -> None:
    if check.found == "pass":
        return
    if found is None:
        say(
            f"The room was not found good. {check.room} names no imaging system, so which "
            "measurements that throws doubt on is not known: enter it again with --system."
        )
        return
    say(
        "The room was not found good. Measurements on its loops since it last was, in the tables "
        f"and the store that were named: {len(found)}."
    )
    if not found:
        return
    say_table(
        "In doubt",
        ("taken", "study", "loop", "quantity", ">value ± u", "scale", "in"),
        [
            (
                one.taken,
                one.study,
                one.loop,
                one.quantity,
                one.shown,
                f"{one.scale_kind} (its own)" if one.own_scale else one.scale_kind,
                one.source,
            )
            for one in found[:MOST_PRINTED]
        ],
    )
    if len(found) > MOST_PRINTED:
        say(f"{len(found) - MOST_PRINTED} more: see --json.")
