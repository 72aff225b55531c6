"""What `annot check` says to a person: due dates, charts, archives, measurements in doubt."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from typer.testing import CliRunner

from annot.cli import check_run
from annot.cli.main import app
from annot.errors import InputError
from annot.loops.header_glance import glance
from annot.quality.judgement import judged
from annot.tasks.check.affected import Affected
from annot.tasks.check.reference import Reference, Room
from annot.tasks.check.register import Check, register_at
from annot.tasks.check.strangers import strangers
from annot.uncertainty import Tolerance, propagate, stated
from tests.bench.archive import make_archive


def told(*arguments):
    answer = CliRunner().invoke(app, ["check", *map(str, arguments)], env={"COLUMNS": "200"})
    if answer.exception:
        raise answer.exception
    return answer.stdout


def value(number, limits=Tolerance(low=-3, high=3)):  # noqa: B008 - frozen
    one = stated(number, 0.3, key="x", unit="%", source="test")
    result = propagate(lambda x: x, [one], unit="%")
    return judged(result, quantity="scale_deviation", target="ball", limits=limits)


def check(day, number):
    return Check(
        key="", room="lab", taken=day, objects=("ball",), loops=(), as_found=(value(number),)
    )


@pytest.fixture
def store(tmp_path):
    path = tmp_path / "qa.db"
    register = register_at(str(path))
    register.enter(Room(name="lab", modality="XA", every_days=30), by="QA")
    register.enter(
        Reference(name="ball", kind="sphere", size_mm=10, tolerance_mm=0.01, certificate="K-1"),
        by="QA",
    )
    for number in range(24):
        day = date(2024, 1, 1) + timedelta(days=30 * number)
        register.add_check(check(day, 0.1 * (number % 5)), by="QA")
    return path


def test_due_dates_are_told_and_a_missing_store_is_not_made(store, tmp_path):
    words = told("due", "--store", store, "--on", "2026-01-01")
    assert "last check: pass" in words
    assert "K-1" in words
    with pytest.raises(InputError, match="no such store"):
        told("due", "--store", tmp_path / "none.db")
    with pytest.raises(InputError, match="YYYY-MM-DD"):
        told("due", "--store", store, "--on", "1.1.2026")
    register_at(str(tmp_path / "empty.db"))
    assert "The register is empty" in told("due", "--store", tmp_path / "empty.db")


def test_a_chart_says_its_phase_what_to_expect_and_what_spoke(store):
    where = ("--store", store, "--room", "lab")
    assert "phase I." in told("chart", *where)
    told("chart", *where, "--set-limits", "--by", "QA")
    register_at(str(store)).add_check(check(date(2026, 3, 1), 2.5), by="QA")
    words = told("chart", *where)
    assert "phase II." in words
    assert "beyond a limit" in words
    assert "Limits from 24 checks: a false alarm about once in" in words


def test_a_room_with_several_quantities_asks_which(store):
    register = register_at(str(store))
    other = Check(
        key="",
        room="lab",
        taken=date(2026, 3, 1),
        objects=(),
        loops=(),
        as_found=(value(0.1), value(0.2, limits=None)),
    )
    second = replace(other.as_found[1], quantity="squareness")
    register.add_check(replace(other, as_found=(other.as_found[0], second)), by="QA")
    with pytest.raises(InputError, match="squareness ball"):
        told("chart", "--store", store, "--room", "lab")


def test_a_sweep_tells_counts_findings_and_new_software(tmp_path):
    make_archive(tmp_path, 100)
    words = told("sweep", tmp_path, "--workers", 1)
    assert "100 files: 100 loops, 100 of them with a header scale." in words
    assert "contradiction: 2" in words
    assert "would lie behind the detector" in words
    assert "V-001" in words


def test_a_value_without_limits_and_one_with_are_both_told(store, capsys):
    (kept,) = register_at(str(store)).checks("lab")[:1]
    values = [value(0.5), value(0.5, limits=None), value(0.5, limits=Tolerance(high=3))]
    check_run._say(kept, values, ["odd"])
    words = capsys.readouterr().out
    assert "-3 … 3 %" in words
    assert "no limits" in words
    assert "warning: odd" in words


def test_measurements_in_doubt_are_listed_and_the_rest_counted(store, capsys):
    register = register_at(str(store))
    good, bad = register.checks("lab")[0], register.add_check(check(date(2026, 3, 1), 9.0), by="QA")
    one = Affected(
        study="S1",
        loop="a.dcm",
        sop_instance_uid="1.2",
        quantity="depth",
        value="30.0",
        unit="mm",
        scale_kind="sphere",
        taken="2026-02-01",
        own_scale=True,
        source="table.csv",
    )
    check_run._say_doubtful(good, [one])
    assert capsys.readouterr().out == ""
    exact = replace(one, value="26.559611309747915", u="0.5012")
    check_run._say_doubtful(bad, [one] * 39 + [exact])
    assert exact.shown == "26.56 ± 0.50 mm"
    words = capsys.readouterr().out
    assert "since it last was, in the tables and the store that were named: 40." in words
    assert "sphere (its own)" in words
    assert "30.0 mm, no u stated" in " ".join(words.split())
    assert "10 more: see --json." in words


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("new", "object", "a", "--kind", "cube", "--size-mm", 1, "--tolerance-mm", 0.1), "cube"),
        (("new", "room", "a", "--modality", "CT"), "XA or US"),
    ],
)
def test_what_is_no_room_or_object_is_refused(tmp_path, arguments, words):
    command = ["check", *map(str, arguments), "--store", str(tmp_path / "qa.db"), "--by", "QA"]
    answer = CliRunner().invoke(app, command)
    assert answer.exit_code != 0
    assert words in (answer.output + answer.stderr + str(answer.exception))


def test_a_loop_that_may_not_be_the_rooms_is_said(tmp_path):
    make_archive(tmp_path, 40)
    path = next(one for one in sorted(tmp_path.rglob("*.dcm")) if glance(one).modality == "XA")
    path = path.rename(tmp_path / "ball.dcm")
    seen = glance(path)
    assert seen.station
    assert seen.system != seen.station
    rooms = [
        Room(name="lab", modality="XA", every_days=30, systems=one)
        for one in ((), ("0badc0de",), (seen.station,), (seen.system,))
    ]
    nameless, other, machine, software = (strangers(one, [path]) for one in rooms)
    assert (
        f"lab names none: if it is this room's, enter the room again with --system {seen.station}"
        in nameless[0]
    )
    assert "lab names only 0badc0de" in other[0]
    assert machine == software == ()
    (modality,) = strangers(
        Room(name="echo", modality="US", every_days=30, systems=(seen.station,)), [path]
    )
    assert (
        modality
        == "ball.dcm is XA, and echo is entered for US: look whether it is this room's loop"
    )


def test_a_room_without_systems_is_not_said_to_have_no_measurements_in_doubt(store, capsys):
    register = register_at(str(store))
    bad = register.add_check(check(date(2026, 3, 1), 9.0), by="QA")
    assert check_run._doubtful(register, bad, [], []) is None
    check_run._say_doubtful(bad, None)
    words = " ".join(capsys.readouterr().out.split())
    assert (
        "lab names no imaging system, so which measurements that throws doubt on is not known"
        in words
    )
