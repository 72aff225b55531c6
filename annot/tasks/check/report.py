"""One page per room: what the last check said, charts, pictures, due dates; and JSON beside it."""

import json
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.exports import JSON, PNG, write_whole
from annot.exports.discussion_page import HTML
from annot.exports.figures import FIRST, SECOND, Line, Panel, png_of
from annot.exports.room_figures import chart_figure
from annot.exports.room_page import Picture, RoomPage, Table, room_html
from annot.geometry import PixelPoint
from annot.quality.judgement import CheckedValue
from annot.quality.phantom_search import FoundPhantom
from annot.tasks.check.chart import (
    ChartName,
    RoomChart,
    quantities_of,
    room_chart,
    run_length_words,
)
from annot.tasks.check.due import due_dates
from annot.tasks.check.phantom_run import phantoms_in
from annot.tasks.check.reference import Room
from annot.tasks.check.register import Check, Register
from annot.tasks.open import open_loop

CHARTED = ("individuals", "weighted", "sums")
WORDS = {"individuals": "single checks", "weighted": "weighted means", "sums": "cumulative sums"}


def write_report(
    register: Register,
    room: str,
    target: Path,
    *,
    today: date,
    loops: Sequence[Path] = (),
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Path, Path]:
    """Write a room's page and, beside it, the same in JSON.

    Parameters
    ----------
    register
        Where the room is.
    room
        Its name.
    target
        The HTML file; the JSON file has the same name with another ending.
    today
        The day that due dates count from.
    loops
        Loops to show with what is found on them.

    Raises
    ------
    InputError
        If there is no such room, a loop cannot be opened, or a file of another kind stands there.
    """
    entered = register.room(room)
    checks = register.checks(room)
    charts = _charts(register, room, checks)
    pictures = []
    for path in loops:
        progress(path.name)
        pictures.append(_picture(path))
    page = _page(register, entered, checks, charts, pictures, today)
    facts = _facts(register, entered, checks, charts, today)
    beside = target.with_suffix(".json")
    write_whole(target, room_html(page), replaces=HTML)
    write_whole(beside, json.dumps(facts, ensure_ascii=False, allow_nan=False), replaces=JSON)
    return target, beside


def write_chart(chart: RoomChart, target: Path) -> None:
    """Write one chart as PNG, whole or not at all."""
    if not chart.charts:
        raise InputError(f"There is no chart of {chart.name.quantity} to draw: {chart.note}.")
    write_whole(target, _drawn(chart, form="png"), replaces=PNG)


def _charts(register: Register, room: str, checks: Sequence[Check]) -> list[RoomChart]:
    """Return the charts of everything that has limits, recorded or judged."""
    judged = dict.fromkeys(
        value.key for check in checks for value in check.as_found if value.conforms is not None
    )
    recorded = [one for one in quantities_of(checks) if register.limits(room, one) is not None]
    names = dict.fromkeys([*judged, *recorded])
    found = []
    for name in names:
        kinds = CHARTED if name in recorded else CHARTED[:1]
        found += [
            room_chart(register, ChartName(room=room, quantity=name, kind=kind)) for kind in kinds
        ]
    return found


def _drawn(chart: RoomChart, *, form: str = "svg") -> bytes:
    return chart_figure(
        chart.charts,
        baseline=[one.value for one in chart.baseline] if chart.name.kind == "individuals" else [],
        days=[one.day.isoformat() for one in chart.points],
        unit=chart.unit,
        title=_title(chart),
        format=form,
    )


def _title(chart: RoomChart) -> str:
    quantity = chart.name.quantity.replace("_", " ")
    return f"{quantity}, {WORDS.get(chart.name.kind, chart.name.kind)}"


def _figure(chart: RoomChart) -> Picture:
    spoken = sum(len(one.signals) for one in chart.charts)
    state = f"{spoken} signal(s)" if spoken else "no signal"
    return Picture(
        data=_drawn(chart) if chart.charts else b"",
        kind="svg",
        words=f"{_title(chart)}: {state}",
        note=". ".join(one for one in (chart.note, run_length_words(chart)) if one),
    )


def _picture(path: Path) -> Picture:
    """Return the first frame of a loop with every phantom that is found on it."""
    loop = open_loop(path)
    found = phantoms_in(loop, 0) if loop.header.xray else ()
    panel = Panel(frame=loop.frame(0), title=path.name, lines=tuple(map(_outline, found)))
    what = ", ".join(f"{one.kind} of {one.size_px:.1f} px" for one in found) or "no phantom"
    words = f"{path.name}: found by itself {what}"
    return Picture(data=png_of([panel], caption=path.name), kind="png", words=words)


def _outline(found: FoundPhantom) -> Line:
    points = [PixelPoint(*one) for one in found.points]
    if found.kind == "sphere":
        reach = found.size_px / 2
        points = [
            PixelPoint(points[0].row - reach, points[0].column),
            PixelPoint(points[0].row + reach, points[0].column),
        ]
    elif found.kind == "grid":
        points.append(points[0])
    colour = FIRST if found.kind == "sphere" else SECOND
    return Line(points=tuple(points), label=f"{found.kind} {found.size_px:.1f} px", colour=colour)


def _page(
    register: Register,
    room: Room,
    checks: Sequence[Check],
    charts: Sequence[RoomChart],
    pictures: Sequence[Picture],
    today: date,
) -> RoomPage:
    last = checks[-1] if checks else None
    verdict = "Never checked."
    if last is not None:
        verdict = f"Last check {last.taken.isoformat()}: found {last.found}, left {last.left}."
        drifting = {one.name.quantity for one in charts if one.limits and _speaks_now(one)}
        if drifting:
            names = ", ".join(sorted(drifting)).replace("_", " ")
            verdict += f" Out of control at the last check: {names}."
    systems = ", ".join(room.systems) or "none named"
    return RoomPage(
        room=room.name,
        made=today.isoformat(),
        verdict=verdict,
        facts=(
            f"{room.modality}, to be checked every {room.every_days} days",
            f"imaging systems (pseudonyms): {systems}",
            *([room.note] if room.note else []),
        ),
        due=_due_table(register, room, today),
        last=_last_table(last) if last else None,
        charts=[_figure(one) for one in charts],
        pictures=pictures,
        history=_history(checks),
        warnings=tuple(_warnings(last, charts)),
    )


def _due_table(register: Register, room: Room, today: date) -> Table:
    lines = [
        one
        for one in due_dates(register, today=today)
        if one.what == "object" or one.name == room.name
    ]
    return Table(
        title="This room, and every reference object",
        heads=("what", "name", "last check", "due", "days left", "state"),
        rows=tuple(
            (
                one.what,
                one.name,
                str(one.last or "–"),
                str(one.due or "never"),
                "–" if one.days_left is None else str(one.days_left),
                one.state,
            )
            for one in lines
        ),
    )


def _last_table(check: Check) -> Table:
    values = [("found", one) for one in check.as_found] + [("left", one) for one in check.as_left]
    return Table(
        title=f"{check.key}, by {check.by}",
        heads=(
            "as",
            "quantity",
            "object",
            "value ± u",
            "95 % interval",
            "limits",
            "wrong pass",
            "verdict",
        ),
        rows=tuple((state, *_cells(one)) for state, one in values),
        note=(
            "A value passes, or fails, where that is right with 95 % probability (JCGM 106:2012); "
            "in between it is undecided. 'Wrong pass' is the chance that a value taken as passing "
            "lies outside its limits."
        ),
    )


def _cells(one: CheckedValue) -> tuple[str, ...]:
    low = "" if one.limit_low is None else f"{one.limit_low:g}"
    high = "" if one.limit_high is None else f"{one.limit_high:g}"
    chance = one.chance_of_wrong_pass
    return (
        one.quantity.replace("_", " "),
        one.target or "–",
        f"{one.value:.3f} ± {one.u:.3f} {one.unit}",
        f"{one.low:.3f} … {one.high:.3f}",
        f"{low} … {high} {one.unit}" if low or high else "–",
        "–" if chance is None else f"{100 * chance:.1f} %",
        one.verdict,
    )


def _history(checks: Sequence[Check]) -> Table:
    return Table(
        title=f"{len(checks)} check(s), newest first",
        heads=("check", "found", "left", "objects", "loops", "by", "entered", "not found"),
        rows=tuple(
            (
                one.key,
                one.found,
                one.left,
                ", ".join(one.objects),
                ", ".join(loop["file"] for loop in one.loops),
                one.by,
                one.at.strftime("%Y-%m-%d %H:%M UTC"),
                "; ".join(one.missing),
            )
            for one in reversed(checks)
        ),
    )


def _speaks_now(chart: RoomChart) -> bool:
    """Tell whether a chart speaks at its last point."""
    return any(each.point == len(one.points) - 1 for one in chart.charts for each in one.signals)


def _warnings(last: Check | None, charts: Sequence[RoomChart]) -> list[str]:
    """Return what is missing, and one line for each chart that speaks."""
    found = [*last.missing, *(f"as left: {one}" for one in last.missing_left)] if last else []
    for chart in charts:
        trial = "" if chart.limits else ", by limits that are not recorded"
        quantity = chart.name.quantity.replace("_", " ")
        for one in chart.charts:
            if one.in_control:
                continue
            points = chart.points[len(chart.points) - len(one.points) :]
            first = one.signals[0]
            spoken = len({each.point for each in one.signals})
            found.append(
                f"{quantity}, {one.kind}{trial}: speaks first at {points[first.point].key} "
                f"({first.rule}), at {spoken} of {len(points)} checks in all"
            )
    return found


def _facts(
    register: Register,
    room: Room,
    checks: Sequence[Check],
    charts: Sequence[RoomChart],
    today: date,
) -> dict[str, Any]:
    return {
        "annot_room": 1,
        "room": room.as_body(),
        "made": today.isoformat(),
        "due": [one.facts() for one in due_dates(register, today=today)],
        "checks": [one.facts() for one in checks],
        "charts": [each for one in charts for each in one.facts()],
    }
