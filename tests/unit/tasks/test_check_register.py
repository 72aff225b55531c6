"""Rooms, objects, checks and limits in a store that only grows; what is due; what is in doubt."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRLittleEndian, generate_uid

from annot.errors import InputError
from annot.loops import open_loop
from annot.quality import set_limits
from annot.quality.judgement import judged
from annot.store import Intent, Record, SupersededError
from annot.tasks.audit import verify
from annot.tasks.check.affected import affected, last_good
from annot.tasks.check.due import due_dates
from annot.tasks.check.echo_run import EchoLimits, look_for_targets
from annot.tasks.check.phantom_values import dependence
from annot.tasks.check.reference import Reference, Room
from annot.tasks.check.register import CHAIN, Check, register_at
from annot.tasks.check.run import CheckPlan, CheckRun, keep_as_left, run_check
from annot.uncertainty import Tolerance, propagate, stated
from tests.unit.quality.test_phantom_search import echo

BALL = Reference(name="ball", kind="sphere", size_mm=10, tolerance_mm=0.01, due=date(2026, 6, 1))
ROOM = Room(name="lab", modality="XA", every_days=30, systems=("aaaa1111",))


@pytest.fixture
def register(tmp_path):
    made = register_at(str(tmp_path / "qa.db"))
    made.enter(ROOM, by="QA")
    made.enter(BALL, by="QA")
    return made


def value(number):
    one = stated(number, 0.2, key="x", unit="%", source="test")
    limits = Tolerance(low=-3, high=3)
    result = propagate(lambda x: x, [one], unit="%")
    return judged(result, quantity="scale_deviation", target="ball", limits=limits)


def check(day, number, **more):
    return Check(
        key="",
        room="lab",
        taken=day,
        objects=("ball",),
        loops=(),
        as_found=(value(number),),
        **more,
    )


def test_what_was_entered_comes_back_and_the_chain_holds(register):
    kept = register.add_check(check(date(2026, 1, 5), 0.1), by="QA")
    assert kept.key == "lab 2026-01-05 #1"
    assert register.add_check(check(date(2026, 1, 5), 0.2), by="QA").key == "lab 2026-01-05 #2"
    assert register.rooms() == {"lab": ROOM}
    assert register.references() == {"ball": BALL}
    assert [one.as_found[0].value for one in register.checks("lab")] == pytest.approx([0.1, 0.2])
    assert register.checks("lab")[0].by == "QA"
    (report,) = verify(register.store, study=CHAIN)
    assert report.holds
    assert report.events == 4


def test_more_than_nine_checks_of_a_day_stay_in_order(register):
    for number in range(11):
        register.add_check(check(date(2026, 1, 5), float(number)), by="QA")
    seen = [one.as_found[0].value for one in register.checks("lab")]
    assert seen == pytest.approx(list(range(11)))


def test_a_change_needs_a_reason_and_supersedes(register):
    with pytest.raises(InputError, match="--reason"):
        register.enter(replace(ROOM, every_days=7), by="QA")
    register.enter(replace(ROOM, every_days=7), by="QA", reason="weekly from now on")
    assert register.room("lab").every_days == 7
    with pytest.raises(InputError, match="--by"):
        register.enter(replace(ROOM, name="b"), by=" ")


def test_two_people_cannot_overwrite_one_check(register):
    kept = register.add_check(check(date(2026, 1, 5), 5.0), by="QA")
    left = replace(kept, as_left=(value(0.0),))
    register.change_check(left, by="A", reason="set right")
    with pytest.raises(SupersededError):
        register.change_check(left, by="B", reason="set right as well")
    (now,) = register.checks("lab")
    assert (now.found, now.left) == ("fail", "pass")


def test_limits_stand_until_somebody_sets_them_anew_with_a_reason(register):
    members = [f"c{n}" for n in range(10)]
    first = set_limits([[float(n % 3)] for n in range(10)], members=members)
    register.record_limits("lab", "scale_deviation ball", first, by="QA")
    second = set_limits([[float(n % 4)] for n in range(10)], members=members)
    with pytest.raises(InputError, match="--reason"):
        register.record_limits("lab", "scale_deviation ball", second, by="QA")
    assert register.limits("lab", "scale_deviation ball") == first
    register.record_limits("lab", "scale_deviation ball", second, by="QA", reason="new tube")
    assert register.limits("lab", "scale_deviation ball") == second
    assert register.limits("lab", "other") is None


def test_an_unknown_room_or_object_is_refused_with_those_there_are(register):
    with pytest.raises(InputError, match="no room x; there are lab"):
        register.room("x")
    with pytest.raises(InputError, match="annot check new object"):
        register.reference("x")


@pytest.mark.parametrize(
    "act",
    [
        lambda: Room(name="", modality="XA", every_days=1),
        lambda: Room(name="a", modality="CT", every_days=1),
        lambda: Room(name="a", modality="XA", every_days=0),
        lambda: Reference(name="a", kind="cube", size_mm=1, tolerance_mm=0.1),
        lambda: Reference(name="", kind="grid", size_mm=1, tolerance_mm=0.1),
        lambda: Reference(name="a", kind="grid", size_mm=1, tolerance_mm=0),
        lambda: Reference(name="a", kind="grid", size_mm=-1, tolerance_mm=0.1),
    ],
)
def test_what_is_no_room_or_object_is_refused(act):
    with pytest.raises(InputError):
        act()


# ---------------------------------------------------------------- due
def test_a_room_that_was_left_wrong_is_due_at_once(register):
    def lines(day):
        return {one.name: one for one in due_dates(register, today=day)}

    assert lines(date(2026, 1, 1))["lab"].state == "never checked"
    register.add_check(check(date(2026, 1, 5), 0.1), by="QA")
    assert lines(date(2026, 1, 10))["lab"].days_left == 25
    assert lines(date(2026, 1, 10))["ball"].due == date(2026, 6, 1)
    register.add_check(check(date(2026, 1, 8), 5.0), by="QA")
    assert lines(date(2026, 1, 10))["lab"].days_left == -2
    assert lines(date(2026, 1, 10))["lab"].state == "last check: fail"


# ---------------------------------------------------------------- in doubt
HEAD = "study,loop,sop_instance_uid,quantity,value,unit,scale_kind,system_id\n"


def journal_of(path, loops):
    lines = [{"annot_sweep": 1}]
    for sop, station, system, day in loops:
        blank = {
            "path": f"/a/{sop}",
            "modality": "XA",
            "software": "",
            "scale": 0.2,
            "findings": [],
        }
        lines.append(blank | {"sop": sop, "station": station, "system": system, "date": day})
        lines.append({"file": [f"/a/{sop}", 1, 1]})
    path.write_text("".join(json.dumps(one) + "\n" for one in lines))
    return path


def test_measurements_since_the_last_good_check_are_listed(register, tmp_path):
    for day, number in (((1, 5), 0.1), ((2, 5), 0.2), ((3, 5), 2.9), ((4, 5), 5.0)):
        register.add_check(check(date(2026, *day), number), by="QA")
    checks = register.checks("lab")
    good = last_good(checks, checks[-1])
    assert good is not None
    assert good.taken == date(2026, 2, 5)
    assert last_good(checks, checks[0]) is None
    table = tmp_path / "t.csv"
    rows = ["1.1", "1.2", "1.3", "1.4", "1.5"]
    table.write_text(HEAD + "".join(f"S,{uid}.dcm,{uid},depth,30,mm,header,\n" for uid in rows))
    journal = journal_of(
        tmp_path / "j.jsonl",
        [
            ("1.1", "aaaa1111", "s1", "20260201"),  # before the last good check
            ("1.2", "aaaa1111", "s1", "20260301"),
            ("1.3", "bbbb2222", "s2", "20260301"),  # another room
            ("1.4", "aaaa1111", "s2", ""),  # nobody knows when
        ],
    )
    found = affected(ROOM, good.taken, tables=[table], journals=[journal])
    assert [(one.sop_instance_uid, one.taken) for one in found] == [
        ("1.2", "2026-03-01"),
        ("1.4", "not known"),
    ]
    assert not any(one.own_scale for one in found)


def test_readings_of_a_store_count_too(register):
    row = {
        "study": "S",
        "loop": "a",
        "sop_instance_uid": "1.2",
        "quantity": "depth",
        "value": 30.1,
        "unit": "mm",
        "scale_kind": "sphere",
        "system_id": "system-aaaa1111:geometry",
    }
    record = Record(study="S", kind="reading", key="k", body={"row": row})
    act = Intent(record=record, token="1", actor="A", at=datetime(2026, 1, 1, tzinfo=UTC))
    register.store.append(act)
    (found,) = affected(ROOM, None, store=register.store)
    assert (found.source, found.own_scale, found.value) == ("store, study S", True, "30.1")


def test_a_room_without_systems_or_a_table_without_loops_is_refused(tmp_path):
    with pytest.raises(InputError, match="--system"):
        affected(replace(ROOM, systems=()), None)
    (tmp_path / "t.csv").write_text("study,value\n1,2\n")
    with pytest.raises(InputError, match="sop_instance_uid"):
        affected(ROOM, None, tables=[tmp_path / "t.csv"])


# ---------------------------------------------------------------- ultrasound
@pytest.fixture
def phantom(tmp_path):
    def written(delta_cm=(0.02, 0.025), pixels=None):
        picture = echo() if pixels is None else pixels
        data = Dataset()
        data.file_meta = Dataset()
        data.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
        data.SOPClassUID, data.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.6.1", generate_uid()
        data.StudyInstanceUID, data.SeriesInstanceUID, data.Modality = "1.2.9", "1.2.10", "US"
        data.Rows, data.Columns = picture.shape
        data.SamplesPerPixel, data.PhotometricInterpretation = 1, "MONOCHROME2"
        data.BitsAllocated = data.BitsStored = 8
        data.HighBit, data.PixelRepresentation = 7, 0
        region = Dataset()
        region.RegionSpatialFormat = region.RegionDataType = 1
        region.RegionFlags = 0
        region.RegionLocationMinX0 = region.RegionLocationMinY0 = 0
        region.RegionLocationMaxX1, region.RegionLocationMaxY1 = data.Columns - 1, data.Rows - 1
        region.PhysicalUnitsXDirection = region.PhysicalUnitsYDirection = 3
        region.PhysicalDeltaY, region.PhysicalDeltaX = delta_cm
        data.SequenceOfUltrasoundRegions = [region]
        data.PixelData = picture.tobytes()
        data.save_as(tmp_path / "echo.dcm", enforce_file_format=True)
        return open_loop(tmp_path / "echo.dcm")

    return written


TARGETS = Reference(name="block", kind="targets", size_mm=10.0, tolerance_mm=0.05)


def test_distances_along_and_across_the_beam_pass_within_their_tolerances(phantom):
    found = look_for_targets(phantom(), [TARGETS], EchoLimits())
    by_name = {one.quantity: one for one in found.values}
    along, across = by_name["distance_along_beam"], by_name["distance_across_beam"]
    assert (along.verdict, across.verdict) == ("pass", "pass")
    assert abs(along.value) < 2.6 * along.u
    # 50 mm: 1.0 mm; 60 mm: 2.0 mm, the larger one of mm and percent
    assert (along.limit_high, across.limit_high) == (1.0, 2.0)
    assert EchoLimits().half_width(150, down=True) == 2.25
    assert EchoLimits().half_width(150, down=False) == 3.0


def test_a_region_five_percent_too_large_across_fails_there_only(phantom):
    found = look_for_targets(phantom((0.02, 0.02625)), [TARGETS], EchoLimits())
    by_name = {one.quantity: one for one in found.values}
    assert by_name["distance_along_beam"].verdict == "pass"
    assert by_name["distance_across_beam"].verdict == "fail"
    assert by_name["distance_across_beam"].value == pytest.approx(3.0, abs=0.2)


def test_an_ultrasound_room_is_checked_by_the_same_way(phantom):
    path = phantom().header.path
    run = run_check([path], CheckPlan(references=(TARGETS,)), room="echo", today=date(2026, 1, 2))
    assert run.check.found == "pass"
    assert run.check.taken == date(2026, 1, 2)
    assert {one.key for one in run.check.as_found} == {
        "distance_along_beam block",
        "distance_across_beam block",
    }
    late = replace(TARGETS, due=date(2026, 1, 1))
    again = run_check([path], CheckPlan(references=(late,)), room="echo", today=date(2026, 1, 2))
    assert "certificate of block ran out" in again.warnings[0]


def test_a_picture_without_targets_says_so(phantom):
    flat = np.full((300, 320), 9, dtype=np.uint8)
    found = look_for_targets(phantom(pixels=flat), [TARGETS], EchoLimits())
    assert found.values == ()
    assert len(found.missing) == 2


def test_a_room_set_right_whose_object_was_not_found_again_is_not_good(register):
    kept = register.add_check(check(date(2026, 1, 5), 5.0), by="QA")
    run = CheckRun(
        check=check(date(2026, 1, 6), 0.0, missing=("grid was not found",)), seen=(), warnings=()
    )
    left = keep_as_left(register, kept.key, run, by="QA", reason="set right")
    assert (left.found, left.left) == ("fail", "undecided")
    nothing = replace(run, check=replace(run.check, as_found=()))
    assert keep_as_left(register, kept.key, nothing, by="QA", reason="again").left == "undecided"


def test_repeats_of_one_geometry_are_no_dependence_on_geometry():
    seen = [("near", value(-1.0)), ("near", value(1.0)), ("far", value(0.5))]
    (apart,) = dependence(seen)
    assert (apart.value, apart.note) == (pytest.approx(0.5), "from near to far")
    # own arithmetic: 0.2 of each value, a mean of two beside one
    assert apart.u == pytest.approx(0.2 * np.sqrt(1 / 2 + 1))
