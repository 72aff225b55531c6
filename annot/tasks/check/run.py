"""Check a room: look for its reference objects in loops, judge what they tell, keep the check."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path

from annot.errors import InputError
from annot.loops import Loop
from annot.loops.header_glance import glance
from annot.quality.judgement import CheckedValue
from annot.tasks.check.echo_run import EchoLimits, EchoLoop, look_for_targets, region_facts
from annot.tasks.check.header_findings import verdict_of
from annot.tasks.check.phantom_run import PhantomLoop, RunSettings, look_for
from annot.tasks.check.phantom_values import XrayLimits, dependence, values_of
from annot.tasks.check.reference import Reference
from annot.tasks.check.register import Check, Register
from annot.tasks.open import open_loop

Seen = PhantomLoop | EchoLoop


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPlan:
    """What is checked and by which limits."""

    references: tuple[Reference, ...]
    settings: RunSettings = field(default_factory=RunSettings)
    xray: XrayLimits = field(default_factory=XrayLimits)
    echo: EchoLimits = field(default_factory=EchoLimits)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRun:
    """A check that was run, not kept yet, with what its pictures need."""

    check: Check
    seen: tuple[Seen, ...]
    warnings: tuple[str, ...] = field(default=())


def run_check(
    loops: Sequence[Path],
    plan: CheckPlan,
    *,
    room: str,
    today: date,
    progress: Callable[[str], None] = lambda _: None,
) -> CheckRun:
    """Look for reference objects in loops of one room and judge what they tell.

    Parameters
    ----------
    loops
        Files.
    plan
        Objects and limits.
    room
        Its name, for the check's record.
    today
        Taken for the day of loops that state none.
    progress
        Called with each file's name before it is opened.

    Raises
    ------
    AnnotError
        If a loop cannot be opened or is neither X-ray nor ultrasound.
    """
    overdue = [one.name for one in plan.references if one.overdue(today)]
    warnings = [f"the certificate of {name} ran out: calibrate it again" for name in overdue]
    seen: list[Seen] = []
    values: list[tuple[str, CheckedValue]] = []
    exposed: list[tuple[str, str, CheckedValue]] = []
    missing: list[str] = []
    for path in loops:
        progress(path.name)
        loop = open_loop(path)
        words = geometry_words(loop) if len(loops) > 1 else ""
        one = _look(loop, plan)
        seen.append(one)
        mine = _values(one, plan)
        values += [(words, value) for value in mine]
        exposed += [(words, exposure_words(path), value) for value in mine]
        missing += [f"{path.name}: {text}" for text in _missing(one)]
        warnings += [f"{path.name}: {text}" for text in _odd(loop)]
    check = Check(
        key="",
        room=room,
        taken=_day(loops, today),
        objects=tuple(one.name for one in plan.references),
        loops=tuple(_facts(one.loop) for one in seen),
        as_found=(*_apart(values), *_dependence(values), *_on_exposure(exposed)),
        missing=tuple(missing),
    )
    return CheckRun(check=check, seen=tuple(seen), warnings=tuple(warnings))


def keep_check(register: Register, run: CheckRun, *, by: str) -> Check:
    """Keep a check in the register, under a key of its own."""
    register.room(run.check.room)
    return register.add_check(run.check, by=by)


def keep_as_left(register: Register, key: str, run: CheckRun, *, by: str, reason: str) -> Check:
    """Keep what was found after the room was set right, beside what was found before.

    Raises
    ------
    InputError
        If the room has no check of that key.
    """
    checks = register.checks(run.check.room)
    found = [one for one in checks if one.key == key]
    if not found:
        raise InputError(f"Room {run.check.room} has no check '{key}': see annot check due.")
    left = replace(found[0], as_left=run.check.as_found, missing_left=run.check.missing)
    register.change_check(left, by=by, reason=reason)
    return next(one for one in register.checks(run.check.room) if one.key == key)


def geometry_words(loop: Loop) -> str:
    """Return what a scale may depend on, in words."""
    view = loop.header.xray
    if view is None:
        return f"{loop.header.columns} × {loop.header.rows}"
    parts = []
    field_mm = view.field_of_view_mm or ((view.intensifier_mm,) if view.intensifier_mm else ())
    if field_mm:
        parts.append("FOV " + " × ".join(f"{one:g}" for one in field_mm) + " mm")
    if view.source_to_detector_mm is not None:
        parts.append(f"SID {view.source_to_detector_mm:g} mm")
    if view.imager_pixel_spacing_mm is not None:
        parts.append(f"{view.imager_pixel_spacing_mm[0]:.4g} mm detector pixels")
    return ", ".join(parts) or "geometry not stated"


def exposure_words(path: Path) -> str:
    """Return the exposure in words: voltage, current and time, as far as the header states them."""
    units = ("kV", "mA", "ms")
    stated = zip(glance(path).exposure, units, strict=True)
    return ", ".join(f"{value:g} {unit}" for value, unit in stated if value is not None)


def _look(loop: Loop, plan: CheckPlan) -> Seen:
    if loop.header.xray is not None:
        return look_for(loop, plan.references, plan.settings)
    if loop.header.modality == "US":
        return look_for_targets(loop, plan.references, plan.echo)
    raise InputError(f"{loop.header.path.name} is neither an X-ray nor an ultrasound loop.")


def _values(seen: Seen, plan: CheckPlan) -> tuple[CheckedValue, ...]:
    if isinstance(seen, EchoLoop):
        return seen.values
    return values_of(seen, plan.settings, plan.xray)


def _missing(seen: Seen) -> tuple[str, ...]:
    if isinstance(seen, EchoLoop):
        return seen.missing
    unfitted = [f"{one.reference.name}: {one.why}" for one in seen.seen if one.why]
    return (*(f"{name} was not found" for name in seen.missing), *unfitted)


def _odd(loop: Loop) -> list[str]:
    """Return what the header itself has against its scale."""
    found = [one.reason for one in verdict_of(glance(loop.header.path)).findings]
    return list(dict.fromkeys([*found, *region_facts(loop)]))


def _apart(values: Sequence[tuple[str, CheckedValue]]) -> list[CheckedValue]:
    """Name the geometry in the target where several loops were checked; number true repeats."""
    found: dict[str, CheckedValue] = {}
    for words, value in values:
        target = f"{value.target} ({words})" if words else value.target
        one = replace(value, target=target.strip())
        number = 2
        while one.key in found:
            one = replace(value, target=f"{target} #{number}".strip())
            number += 1
        found[one.key] = one
    return list(found.values())


def _dependence(values: Sequence[tuple[str, CheckedValue]]) -> list[CheckedValue]:
    return list(dependence([one for one in values if one[1].quantity == "scale_deviation"]))


def _on_exposure(values: Sequence[tuple[str, str, CheckedValue]]) -> list[CheckedValue]:
    """Compare exposures within each geometry."""
    found = []
    for geometry in dict.fromkeys(words for words, _, _ in values):
        here = [
            (exposure, value)
            for words, exposure, value in values
            if words == geometry and exposure and value.quantity == "scale_deviation"
        ]
        found += [
            replace(one, target=f"{one.target} ({geometry})")
            for one in dependence(here, on="exposure")
        ]
    return found


def _facts(loop: Loop) -> dict[str, str]:
    header = loop.header
    return {
        "file": header.path.name,
        "sop_instance_uid": header.sop_instance_uid,
        "system": header.system,
        "geometry": geometry_words(loop),
        "exposure": exposure_words(header.path),
    }


def _day(loops: Sequence[Path], today: date) -> date:
    """Return the latest day that a loop states; today where none does."""
    days = []
    for path in loops:
        text = glance(path).date
        try:
            days.append(datetime.strptime(text, "%Y%m%d").date())  # noqa: DTZ007 - a day has no zone
        except ValueError:
            continue
    return max(days, default=today)
