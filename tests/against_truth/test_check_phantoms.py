"""A room's check on a rendered phantom plate whose truth is known, from picture to register."""

import json
from datetime import date

import numpy as np
import pytest
from pydicom import dcmread, dcmwrite
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.loops import open_loop
from annot.tasks.check.phantom_run import RunSettings, look_for, phantoms_in
from annot.tasks.check.phantom_values import XrayLimits, values_of
from annot.tasks.check.reference import Reference
from annot.tasks.check.run import CheckPlan, run_check
from synthetic_dicom.case import Case
from synthetic_dicom.encode import put_pixels
from synthetic_dicom.phantom_scenes import SQUARE_VIEW
from synthetic_dicom.phantoms import BeadGrid, Lattice, StepPlate
from synthetic_dicom.reference_objects import Sphere
from synthetic_dicom.rendering import render
from synthetic_dicom.write import write_loop
from synthetic_dicom.xray_image import XrayScene

BALLS = {5.0: (-30.0, -30.0), 8.0: (-14.0, -30.0), 12.0: (8.0, -28.0)}
REFERENCES = (
    *(Reference(name=f"ball-{d:g}", kind="sphere", size_mm=d, tolerance_mm=0.005) for d in BALLS),
    Reference(name="beads", kind="grid", size_mm=6.0, tolerance_mm=0.005),
    Reference(name="plate", kind="step", size_mm=4.0, tolerance_mm=0.01),
)
FLAT = RunSettings(depth_mm=1.0, tilt_deg=0.5)


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    balls = tuple(
        Sphere(id=f"ball{d:g}", centre_mm=(x, y, 0.0), diameter_mm=d) for d, (x, y) in BALLS.items()
    )
    beads = BeadGrid(
        id="beads",
        lattice=Lattice(centre_mm=(-14.0, 10.0, 0.0), spacing_mm=6.0, size=(8, 6), turn_deg=4.0),
        bead_mm=1.5,
    )
    strips = Lattice(centre_mm=(26.0, 12.0, 0.0), spacing_mm=4.0, size=(8, 2), turn_deg=12.0)
    objects = (*balls, beads, StepPlate(id="step", lattice=strips))
    scene = XrayScene(setup=SQUARE_VIEW, objects=objects, phantom=True)
    made = render(
        Case(name="plate", description="several", scene=scene, frames=3),
        seed=1,
        frames=3,
        encoding="explicit",
    )
    put_pixels(made.header, made.frames, encoding="explicit")
    return write_loop(made.header, made.truth, tmp_path_factory.mktemp("plate")).path


@pytest.fixture(scope="module")
def seen(plate):
    return look_for(open_loop(plate), REFERENCES, FLAT)


def test_every_object_is_found_and_fitted(seen):
    assert seen.missing == ()
    assert [one.why for one in seen.seen] == [""] * 5


def test_a_true_room_passes_and_every_interval_holds_the_truth(seen):
    values = values_of(seen, FLAT, XrayLimits())
    by_key = {one.key: one for one in values}
    deviations = [one for one in values if one.quantity == "scale_deviation"]
    assert len(deviations) == 5
    for one in deviations:
        assert abs(one.value) < 2.6 * one.u
        assert one.u < 0.6
        assert one.verdict == "pass"
    assert abs(by_key["squareness beads"].value) < 0.1
    assert by_key["unevenness beads"].value < 0.1
    assert abs(by_key["size_offset"].value) < 2.6 * by_key["size_offset"].u
    assert abs(by_key["size_offset"].value) < 0.05


def changed(plate, tmp_path, **attributes):
    data = dcmread(plate)
    for keyword, content in attributes.items():
        setattr(data, keyword, content)
    other = tmp_path / "other.dcm"
    dcmwrite(other, data)
    return other


def test_a_header_five_percent_too_large_fails_by_five_percent(plate, tmp_path):
    spacing = [f"{0.23 * 1.05:.6f}"] * 2
    wrong = changed(plate, tmp_path, ImagerPixelSpacing=spacing)
    plan = CheckPlan(references=REFERENCES[3:4], settings=FLAT)
    run = run_check([wrong], plan, room="lab", today=date(2026, 1, 2))
    found = next(one for one in run.check.as_found if one.quantity == "scale_deviation")
    assert found.value == pytest.approx(5.0, abs=0.3)
    assert (found.verdict, run.check.found) == ("fail", "fail")
    assert found.chance_of_wrong_pass > 0.99


def test_oblong_pixels_that_the_header_calls_square_fail(plate, tmp_path):
    data = dcmread(plate)
    frames = data.pixel_array
    # every 25th column twice: 4 % more columns across the same millimetres
    wide = np.repeat(frames, [2 if n % 25 == 12 else 1 for n in range(frames.shape[2])], axis=2)
    data.Columns, data.PixelData = wide.shape[2], wide.tobytes()
    other = tmp_path / "wide.dcm"
    dcmwrite(other, data)
    found = look_for(open_loop(other), REFERENCES[3:4], FLAT)
    values = {one.quantity: one for one in values_of(found, FLAT, XrayLimits())}
    assert values["squareness"].value == pytest.approx(-100 * 0.04 / 1.04, abs=0.4)
    assert values["squareness"].verdict == "fail"


def test_values_that_fall_with_the_beam_are_turned_over(plate, tmp_path):
    data = dcmread(plate)
    top = 2**data.BitsStored - 1
    data.PixelData = (top - data.pixel_array).astype(np.uint16).tobytes()
    data.PixelIntensityRelationshipSign = -1
    other = tmp_path / "turned.dcm"
    dcmwrite(other, data)
    found, plain = (phantoms_in(open_loop(path), 0) for path in (other, plate))
    assert [one.kind for one in found] == [one.kind for one in plain]
    assert [one.size_px for one in found] == pytest.approx([one.size_px for one in plain])


def test_an_object_that_is_not_there_leaves_the_check_undecided(plate):
    absent = Reference(name="wire", kind="markers", size_mm=10.0, tolerance_mm=0.05)
    plan = CheckPlan(references=(REFERENCES[3], absent), settings=FLAT)
    run = run_check([plate], plan, room="lab", today=date(2026, 1, 2))
    assert run.check.missing == ("plate.dcm: wire was not found",)
    assert run.check.found == "undecided"


def test_two_geometries_are_told_apart_and_compared(plate, tmp_path):
    other = changed(plate, tmp_path, ImagerPixelSpacing=["0.2392", "0.2392"], IntensifierSize=200)
    plan = CheckPlan(references=REFERENCES[3:4], settings=FLAT)
    run = run_check([plate, other], plan, room="lab", today=date(2026, 1, 2))
    keys = [one.key for one in run.check.as_found if one.quantity == "scale_deviation"]
    assert len(set(keys)) == 2
    assert any("FOV 200 mm" in key for key in keys)
    (apart,) = [one for one in run.check.as_found if one.quantity == "geometry_dependence"]
    assert apart.value == pytest.approx(4.0, abs=0.1)


def test_two_doses_in_one_geometry_are_compared(plate, tmp_path):
    other = changed(plate, tmp_path, XRayTubeCurrent=100)
    plan = CheckPlan(references=REFERENCES[3:4], settings=FLAT)
    run = run_check([plate, other], plan, room="lab", today=date(2026, 1, 2))
    (apart,) = [one for one in run.check.as_found if one.quantity == "exposure_dependence"]
    assert apart.value == pytest.approx(0, abs=1e-6)
    assert "mA" in apart.note
    assert [one["exposure"] for one in run.check.loops] == [
        "80 kV, 500 mA, 8 ms",
        "80 kV, 100 mA, 8 ms",
    ]


def test_a_loop_of_another_kind_is_refused(plate, tmp_path):
    other = changed(plate, tmp_path, Modality="OT", SOPClassUID="1.2.840.10008.5.1.4.1.1.7.2")
    with pytest.raises(InputError, match="neither an X-ray nor an ultrasound"):
        run_check([other], CheckPlan(references=REFERENCES), room="lab", today=date(2026, 1, 2))


# ---------------------------------------------------------------- the command
def told(*arguments):
    answer = CliRunner().invoke(app, ["check", *map(str, arguments)])
    if answer.exception:
        raise answer.exception
    return answer.stdout


def test_from_register_to_doubtful_measurements(plate, tmp_path):
    store, table = tmp_path / "qa.db", tmp_path / "table.csv"
    who = ("--store", store, "--by", "QA")
    system = open_loop(plate).header.system
    told("new", "room", "lab", *who, "--system", system)
    told("new", "object", "beads", "--kind", "grid", "--size-mm", 6, "--tolerance-mm", 0.005, *who)
    asked = ("--room", "lab", "--object", "beads", "--depth-mm", 1, *who, "--json")
    good = json.loads(told("run", plate, *asked))
    assert (good["found"], good["in_doubt"]) == ("pass", [])
    wrong = changed(
        plate, tmp_path, ImagerPixelSpacing=["0.2415", "0.2415"], ContentDate="20000215"
    )
    table.write_text(
        "study,loop,sop_instance_uid,quantity,value,unit,scale_kind,system_id\n"
        f"S1,a.dcm,1.2,ostium_width,21.0,mm,header,system-{system}:geometry\n"
        f"S1,b.dcm,1.3,ostium_width,21.0,mm,sphere,\n"
        f"S2,c.dcm,1.4,depth,30.0,mm,header,system-ffffffff:geometry\n"
    )
    bad = json.loads(told("run", wrong, *asked, "--table", table))
    assert bad["found"] == "fail"
    assert [one["loop"] for one in bad["in_doubt"]] == ["a.dcm"]
    left = json.loads(
        told("run", plate, *asked, "--as-left", bad["key"], "--reason", "spacing set right")
    )
    assert (left["found"], left["left"]) == ("fail", "pass")
    lines = json.loads(told("due", "--store", store, "--on", "2000-02-20", "--json"))
    assert lines[0] | {"days_left": 25, "state": "last check: pass"} == lines[0]


def test_nothing_is_kept_where_nothing_was_found(plate, tmp_path):
    who = ("--store", tmp_path / "qa.db", "--by", "QA")
    told("new", "room", "lab", *who)
    told("new", "object", "wire", "--kind", "markers", "--size-mm", 10, "--tolerance-mm", 0.1, *who)
    with pytest.raises(InputError, match=r"nothing is kept: plate\.dcm: wire was not found"):
        told("run", plate, "--room", "lab", "--object", "wire", *who)
    assert (
        json.loads(told("due", "--store", tmp_path / "qa.db", "--json"))[0]["state"]
        == "never checked"
    )


def test_the_page_shows_a_loop_with_what_is_found_on_it(plate, tmp_path):
    store = tmp_path / "qa.db"
    told("new", "room", "lab", "--store", store, "--by", "QA")
    page = tmp_path / "lab.html"
    told("report", "--store", store, "--room", "lab", "-o", page, "--loop", plate)
    text = page.read_text(encoding="utf-8")
    assert "data:image/png;base64," in text
    assert "found by itself sphere of" in text
    assert "grid of" in text
    assert "step of" in text
    assert json.loads(page.with_suffix(".json").read_text())["checks"] == []


def read_of(plate, path, scale):
    content = {"annot_read": 1, "reader": "QA", "study": "P", "loops": [scale]}
    path.write_text(json.dumps(content))
    return path


def test_a_sweep_sets_objects_of_a_read_against_their_headers(plate, tmp_path):
    wrong = changed(plate, tmp_path, ImagerPixelSpacing=["0.2645", "0.2645"])
    for number, loop in enumerate((plate, wrong)):
        (tmp_path / f"{number}.dcm").write_bytes(loop.read_bytes())
    middle = look_for(open_loop(plate), REFERENCES[2:3], FLAT).seen[0].found
    scale = {
        "kind": "sphere",
        "diameter_mm": 12.0,
        "tolerance_mm": 0.005,
        "frame": 0,
        "centre_px": list(middle.points[0]),
        "radius_px": middle.size_px / 2,
        "depth_offset_mm": 1,
    }
    reads = []
    for number in (0, 1):
        part = {"file": f"{number}.dcm", "scale": scale}
        reads += ["--read", read_of(plate, tmp_path / f"{number}.json", part)]
    missing = {"file": "none.dcm", "scale": scale}
    reads += ["--read", read_of(plate, tmp_path / "2.json", missing)]
    answer = json.loads(told("sweep", tmp_path, "--workers", 1, *reads, "--json"))
    scores = answer["header_against_object"]
    # the header's own allowance is 5 %: a true one agrees, one 15 % too large does not
    assert abs(scores[0]["e_n"]) < 0.2
    assert scores[1]["e_n"] < -1
    assert scores[1]["object_mm_per_px"] / scores[1]["header_mm_per_px"] == pytest.approx(
        1 / 1.15, rel=0.005
    )
    assert scores[-1]["e_n"] is None
    assert "none.dcm" in scores[-1]["verdict"]
    assert "Header against object" in told("sweep", tmp_path, "--workers", 1, *reads[:2])
