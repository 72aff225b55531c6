"""A correction reaches every number that rests on it; the old one stays; nothing stale leaves."""

import csv
import json
from datetime import UTC, datetime

import numpy as np
import pytest

from annot.agreement import repeatability
from annot.errors import InputError
from annot.store import Intent, Query, Record
from annot.tasks.reads_amend import Amendment, amend, remeasure
from annot.tasks.reads_collect import collect
from annot.tasks.reads_kept import READING_KIND, REPEATS_KIND, readings_of
from annot.tasks.reads_sign import sign
from annot.tasks.reads_study import READ_KIND
from annot.tasks.reads_table import export_readings, rows_now
from tests.blinded_study import LAB, drawn, make_lab, write_read


def a_code(lab, reader="A", *, repeat=False):
    shown = lab.study().shown_to(reader)
    return next(one.code for one in shown if bool(one.repeat_of) == repeat)


def corrected(lab, code, tmp_path, **changes):
    """Return a corrected copy of a read: another scale, other calipers."""
    reader = next(one.reader for one in lab.study().presentations if one.code == code)
    content = json.loads((lab.packages / reader / f"{code}.read.json").read_text())
    content["loops"][0] |= changes
    path = tmp_path / "corrected.read.json"
    path.write_text(json.dumps(content))
    return path


def given_scale(size):
    why = "invented"  # the file's own scale is protected, so another one overrules it
    return {"kind": "given", "mm_per_px": [size, size], "u_rel": 0.02, "overrule": why}


def values(lab):
    return {one.key: one.row["value"] for one in readings_of(lab.study()).values() if one.row}


def history(lab, kind, key):
    query = Query(study="HARBOUR", kind=kind, key=key, history=True)
    return list(lab.study().store.read(query))


def test_another_scale_reaches_every_value_under_it(collected, tmp_path):
    code, before = a_code(collected), values(collected)
    given = given_scale(0.25)
    path = corrected(collected, code, tmp_path, scale=given)
    changed = amend(
        collected.study(), Amendment(code=code, read=path), by="Q", reason="wrong region"
    )
    after = values(collected)
    [key] = [one for one in after if one.startswith(code)]
    # 120 px along the row of the picture, seen 0 to 5 degrees obliquely: within 1 % of 30 mm
    assert after[key] == pytest.approx(0.25 * 120, rel=0.01)
    assert changed.superseded >= 1
    assert {one for one in after if after[one] != before[one]} == {key}
    old, new = history(collected, READING_KIND, key)
    assert (old.version, new.version) == (1, 2)
    assert old.record.body["row"]["value"] == before[key]
    assert (new.actor, new.reason) == ("Q", f"follows from {code}: wrong region")
    first, second = history(collected, READ_KIND, code)
    assert (first.actor, second.actor, second.reason) == (LAB, "Q", "wrong region")
    assert collected.study().store.verify_chain("HARBOUR").holds


def test_a_caliper_that_is_gone_takes_its_value_out_and_leaves_it_in_the_chain(collected, tmp_path):
    code = a_code(collected)
    other = [one | {"id": "other"} for one in drawn(code, longer_px=4.0)]
    path = corrected(collected, code, tmp_path, calipers=other)
    changed = amend(collected.study(), Amendment(code=code, read=path), by=LAB, reason="redrawn")
    assert (changed.entered, changed.withdrawn) == (1, 1)
    rows = [row for row in rows_now(collected.study()) if row["presentation"] == code]
    assert [row["caliper_id"] for row in rows] == ["other"]
    gone = history(collected, READING_KIND, f"{code}/lz-{code}/landing_zone_width")
    assert [bool(one.record.body["row"]) for one in gone] == [True, False]


def test_a_loop_found_unreadable_takes_its_values_out_and_may_come_back(collected, tmp_path):
    code = a_code(collected)
    dark = Amendment(code=code, unreadable="another patient's loop")
    assert amend(collected.study(), dark, by=LAB, reason="mixed up").withdrawn == 1
    assert code not in {row["presentation"] for row in rows_now(collected.study())}
    path = corrected(collected, code, tmp_path)
    back = amend(
        collected.study(), Amendment(code=code, read=path), by=LAB, reason="it was the right one"
    )
    assert back.superseded == 3  # the reader's repeats are two again, and all rows say so
    assert code in {row["presentation"] for row in rows_now(collected.study())}


def test_the_package_collected_again_does_not_undo_an_amendment(collected, tmp_path):
    code = a_code(collected)
    path = corrected(collected, code, tmp_path, calipers=drawn(code, longer_px=9.0))
    amend(collected.study(), Amendment(code=code, read=path), by=LAB, reason="slip")
    before = values(collected)
    assert collect(collected.study(), collected.packages / "A", by=LAB).fresh == 0
    assert values(collected) == before


@pytest.mark.parametrize(
    ("fields", "reason", "words"),
    [
        ({}, "why", "says what is kept of"),
        ({"calipers": []}, "  ", "needs a reason"),
        ({"file": "OTHER.dcm"}, "why", "is not a read of"),
        ({"calipers": drawn("x", frame=9)}, "why", "has no frame 9|frame 9"),
    ],
)
def test_an_amendment_at_fault_keeps_nothing(collected, tmp_path, fields, reason, words):
    code = a_code(collected)
    path = corrected(collected, code, tmp_path, **fields)
    before = collected.study().store.verify_chain("HARBOUR").events
    with pytest.raises(InputError, match=words):
        amend(collected.study(), Amendment(code=code, read=path), by=LAB, reason=reason)
    with pytest.raises(InputError, match="not collected"):
        amend(collected.study(), Amendment(code="NONE", read=path), by=LAB, reason="why")
    with pytest.raises(InputError, match="Give a corrected read file"):
        amend(collected.study(), Amendment(code=code), by=LAB, reason="why")
    assert collected.study().store.verify_chain("HARBOUR").events == before


def test_nothing_stale_is_exported_until_it_is_measured_anew(collected, tmp_path):
    """Another program amends a read in the store and forgets what follows from it."""
    study, code = collected.study(), a_code(collected)
    [event] = history(collected, READ_KIND, code)
    document = {**event.record.body["document"]}
    document["loops"] = [{**document["loops"][0], "calipers": drawn(code, longer_px=10.0)}]
    record = Record(
        study="HARBOUR", kind=READ_KIND, key=code, body={**event.record.body, "document": document}
    )
    study.store.append(
        Intent(
            record=record,
            token="behind",
            actor="X",
            at=datetime.now(UTC),
            reason="hand",
            seen_version=1,
        )
    )
    with pytest.raises(InputError, match=r"is stale.*version 1 of a read that is at 2.*remeasure"):
        export_readings(study, tmp_path / "table.csv")
    assert not (tmp_path / "table.csv").exists()
    changed = remeasure(collected.study(), by=LAB, reason="found stale")
    assert changed["A"].superseded >= 1
    export_readings(collected.study(), tmp_path / "table.csv")
    with (tmp_path / "table.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["presentation"]: row for row in csv.DictReader(stream)}
    assert float(rows[code]["value"]) == pytest.approx(
        values(collected)[f"{code}/lz-{code}/landing_zone_width"]
    )
    assert rows[code]["read_version"] == "2"
    assert remeasure(collected.study(), by=LAB, reason="again")["A"].superseded == 0


# ------------------------------------------------------------ repeats
GROUPS_PX = {"first": (0.0, 2.0), "again": (5.0, -1.0)}


@pytest.fixture(scope="module")
def repeated(tmp_path_factory):
    """Four loops, two of them shown again, each showing read twice under a scale of its own."""
    lab = make_lab(tmp_path_factory.mktemp("repeats"), readers=("A",), planes=4)
    package = lab.package("A")
    for number, one in enumerate(lab.study().shown_to("A")):
        longer = GROUPS_PX["again" if one.repeat_of else "first"]
        calipers = [
            {**drawn(one.code, longer_px=px)[0], "id": f"{one.code}-{n}", "repeat": n}
            for n, px in enumerate(longer, start=1)
        ]
        size = 0.2 * (1 + 0.02 * number)
        write_read(package, one.code, calipers, scale=given_scale(size))
        sign(package, one.code, reader="A")
    collect(lab.study(), package, by=LAB)
    return lab


def test_hidden_repeats_feed_the_placing_of_ends_without_the_scales_own_error(repeated):
    """Against the package of reader statistics, fed with pixels times the first scale."""
    study = repeated.study()
    [event] = history(repeated, REPEATS_KIND, "A")
    [(outcome, modality, unit, scatter)] = event.record.body["placing"]
    assert (outcome, modality, unit) == ("landing_zone_width", "US", "mm")
    order = {one.code: number for number, one in enumerate(study.shown_to("A"))}
    groups = []
    for loop in study.file.loops:
        shown = [one for one in study.shown_to("A") if one.loop == loop.fingerprint]
        first = min(shown, key=lambda one: one.repeat_of is not None)
        size = 0.2 * (1 + 0.02 * order[first.code])
        drawn_px = [
            120 + px for one in shown for px in GROUPS_PX["again" if one.repeat_of else "first"]
        ]
        groups.append(np.array(drawn_px) * size)
    outside = repeatability(groups)
    assert scatter["sd"] == pytest.approx(outside.within_sd.value, rel=1e-9)
    assert scatter["dof"] == outside.dof == 8
    for one in readings_of(study).values():
        assert one.repeats_version == 1
        assert "too few" not in one.row["warnings"]


def test_repeats_amended_reach_every_reading_of_the_reader(repeated, tmp_path_factory):
    from tests.unit.study.conftest import copy_of

    folder = tmp_path_factory.mktemp("amended")
    lab = copy_of(repeated, folder)
    before = {key: one.row["u"] for key, one in readings_of(lab.study()).items()}
    code = a_code(lab)
    calipers = [
        {**drawn(code, longer_px=px)[0], "id": f"{code}-{n}", "repeat": n}
        for n, px in enumerate((0.0, 20.0), start=1)
    ]
    path = corrected(lab, code, folder, calipers=calipers)
    changed = amend(lab.study(), Amendment(code=code, read=path), by=LAB, reason="misread")
    assert changed.superseded == len(before) == 12
    after = {key: one.row["u"] for key, one in readings_of(lab.study()).items()}
    assert all(after[key] > before[key] for key in before)
    assert {one.repeats_version for one in readings_of(lab.study()).values()} == {2}
