"""The command line as a person meets it: a process, its two streams and its exit code."""

import csv
import json
import os
import subprocess
import sys

import jsonschema
import pytest
from pydicom import dcmread

from annot.reads.protocol_file import shipped_protocols, shipped_text
from synthetic_dicom import write_case


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("loops")
    write_case("xa_clean", place, frames=6)
    write_case("us_090", place, frames=4)
    write_case("xa_markers", place, frames=2)
    write_case("xa_bead_grid", place, frames=1)
    write_case("xa_step", place, frames=1)
    write_case("sc_single", place)
    (place / "notes.dcm").write_text("no DICOM at all")
    return place


def run(*words, cwd=None):
    done = subprocess.run(
        [sys.executable, "-m", "annot.cli", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        check=False,
        env=os.environ | {"NO_COLOR": "1", "ANNOT_KEY_FILE": "key"},
    )
    assert "Traceback" not in done.stderr
    return done


def truth_of(folder, name):
    return json.loads((folder / f"{name}.truth.json").read_text())


def assert_one_line_fault(done, *words):
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("annot: ")
    assert done.stderr.count("\n") == 1
    for word in words:
        assert word in done.stderr


def test_loops_lists_folders_with_scale_and_fault(folder):
    done = run("loops", folder, "--json")
    entries = [json.loads(line) for line in done.stdout.splitlines()]
    found = {entry["file"].rsplit("/", 1)[-1]: entry for entry in entries}
    assert done.returncode == 0
    assert found["xa_clean.dcm"]["encoding"] == "native"
    offered = found["us_090.dcm"]["scales"]
    assert all(scale["usable"] and scale["u_rel"] > 0 for scale in offered)
    at_detector = [one for one in found["xa_clean.dcm"]["scales"] if not one["usable"]]
    assert any("detector" in one["reason"] for one in at_detector)
    assert found["xa_clean.dcm"]["frames"] == 6
    assert "mm/px" in found["us_090.dcm"]["header_scale"]
    assert found["sc_single.dcm"]["header_scale"].startswith("none")
    assert "notes.dcm" not in found  # no DICOM mark: not ours


def test_loops_prints_a_table_for_people(folder):
    done = run("loops", folder)
    assert done.returncode == 0
    for words in ("xa_clean.dcm", "us_090.dcm", "RAO 25 CRA 15"):
        assert words in done.stdout


def test_scale_answers_with_budget_and_shares(folder):
    truth = truth_of(folder, "xa_clean")
    axis = ",".join(f"{value:.1f}" for point in truth["objects"][0]["axis_px"] for value in point)
    words = ("--catheter", "2.0mm", "--tolerance", "0.03", "--filling", "empty", "--along", axis)
    done = run(
        "scale", folder / "xa_clean.dcm", *words, "--depth-offset", "0", "--frame", 0, "--json"
    )
    answer = json.loads(done.stdout)
    true = truth["objects"][0]["mm_per_px"][0]
    assert done.returncode == 0
    assert answer["low"] <= true <= answer["high"]
    assert answer["mm_per_px_row"] == answer["mm_per_px_column"]
    assert answer["kind"] == "catheter"
    assert answer["sections_used"] >= 5
    assert sum(line["share"] for line in answer["budget"]) == pytest.approx(1)
    assert "Not a medical device" in answer["caution"]


def test_scale_writes_its_picture(folder, tmp_path):
    truth = truth_of(folder, "xa_clean")
    axis = ",".join(f"{value:.1f}" for point in truth["objects"][0]["axis_px"] for value in point)
    picture = tmp_path / "fit.png"
    words = ("--catheter", "6F", "--along", axis, "--picture", picture)
    done = run("scale", folder / "xa_clean.dcm", *words)
    assert done.returncode == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert "mm per pixel" in done.stdout
    assert "Not a medical device" in done.stdout


def spaced_words(folder, name):
    """Return the options that a person would type for the object of a loop."""
    [thing] = truth_of(folder, name)["objects"]

    def listed(points):
        return ",".join(f"{value:.1f}" for point in points for value in point)

    if thing["kind"] == "markers":
        return "--bands", "10", "--along", listed(thing["axis_px"]), "--count", "6"
    if thing["kind"] == "grid":
        nodes = thing["node_px"]
        corners = (nodes[0][0], nodes[-1][0], nodes[-1][-1], nodes[0][-1])
        return "--grid", "10", "--corners", listed(corners)
    first, *_, last = thing["edge_px"]
    reach = [0.04 * (b - a) for a, b in zip(first, last, strict=True)]
    ends = [[a - r, b + r] for a, b, r in zip(first, last, reach, strict=True)]
    return "--step", "5", "--along", listed(zip(*ends, strict=True))


@pytest.mark.parametrize(
    ("name", "kind", "seen"),
    [("xa_markers", "markers", 6), ("xa_bead_grid", "grid", 54), ("xa_step", "step", 12)],
)
def test_scale_from_marks_at_a_spacing(folder, tmp_path, name, kind, seen):
    picture = tmp_path / "fit.png"
    words = (*spaced_words(folder, name), "--tolerance", "0.02", "--object", "mine")
    done = run(
        *("scale", folder / f"{name}.dcm", *words, "--material", "steel", "--tilt", "3"),
        *("--picture", picture, "--json"),
    )
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    [thing] = truth_of(folder, name)["objects"]
    assert answer["low"] <= thing["mm_per_px"][0] <= answer["high"]
    assert (answer["kind"], answer["sections_used"]) == (kind, seen)
    assert sum(line["share"] for line in answer["budget"]) == pytest.approx(1)
    assert "'mine'" in answer["basis"]
    assert "(steel)" in answer["basis"]
    assert answer["object"]
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_grid_is_described_to_a_person_too(folder):
    done = run("scale", folder / "xa_bead_grid.dcm", *spaced_words(folder, "xa_bead_grid"))
    assert "Grid of 8 by 7 nodes (beads), turned by -" in done.stdout
    assert "none at (2, 3), (6, 1)" in done.stdout
    assert "A pixel is 1.0" in done.stdout


def test_repeats_of_a_known_length_are_averaged(folder):
    ends = [f"{100 + k},100,{102 - k},{200 + k}" for k in (0, 1, 2)]
    words = [word for one in ends for word in ("--along", one)]
    done = run("scale", folder / "xa_clean.dcm", "--segment", "20", *words, "--json")
    answer = json.loads(done.stdout)
    assert answer["sections_used"] == 3
    assert len(answer["object"]["lengths_px"]) == 3
    assert any("3 readings by hand" in line["source"] for line in answer["budget"])


def test_a_sheath_by_its_french_size_is_refused(folder):
    words = ("--catheter", "12F", "--device", "sheath", "--along", "100,100,200,200")
    assert_one_line_fault(run("scale", folder / "xa_clean.dcm", *words), "sheath", "inside")


def test_measure_prints_rows_and_writes_the_same_csv(folder, tmp_path):
    truth = truth_of(folder, "us_090")
    true = next(one for one in truth["calipers"] if one["quantity"] == "ostium_width")
    caliper = {
        "id": "o1",
        "quantity": "ostium_width",
        "frame": true["frame"],
        "points_px": true["points_px"],
        "view_deg": 90,
    }
    loop = {"file": "us_090.dcm", "scale": {"kind": "header"}, "calipers": [caliper]}
    read = folder / "read.json"
    read.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "T", "loops": [loop]}))
    done = run("measure", read, "-o", tmp_path / "t.csv", "--json")
    [row] = json.loads(done.stdout)
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as stream:
        [written] = csv.DictReader(stream)
    assert list(row) == list(written)
    assert float(written["value"]) == row["value"]
    assert row["low"] <= true["value_mm"] <= row["high"]
    people = run("measure", read)
    assert people.returncode == 0
    assert "Not a medical device" in people.stdout


def test_faults_are_one_sentence_and_exit_1(folder, tmp_path):
    xa = folder / "xa_clean.dcm"
    assert_one_line_fault(run("scale", folder / "notes.dcm", "--header"), "notes.dcm", "DICOM")
    assert_one_line_fault(run("scale", folder / "gone.dcm", "--header"), "gone.dcm")
    assert_one_line_fault(run("scale", folder / "sc_single.dcm", "--header"), "no scale")
    outside = ("--catheter", "6F", "--along", "10,10,10,900")
    assert_one_line_fault(run("scale", xa, *outside), "outside the image")
    assert_one_line_fault(run("loops", tmp_path), "No DICOM file")
    assert_one_line_fault(run("loops", tmp_path / "gone"), "does not exist")
    assert_one_line_fault(run("measure", folder / "gone.json"), "gone.json")
    assert_one_line_fault(run("measure", folder / "notes.dcm"), "not JSON")
    assert_one_line_fault(run("schema", "nothing"), "known are read, protocol, study, package")


def test_a_failed_measure_leaves_an_older_table_as_it_was(folder, tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("study,older")
    read = folder / "bad.json"
    loops = [{"file": "xa_clean.dcm"}, {"file": "notes.dcm"}]
    read.write_text(json.dumps({"annot_read": 1, "reader": "A", "loops": loops}))
    assert_one_line_fault(run("measure", read, "-o", table), "notes.dcm")
    assert table.read_text() == "study,older"
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]


@pytest.mark.parametrize(
    "words",
    [
        ("scale",),
        ("scale", "x.dcm"),
        ("scale", "x.dcm", "--header", "--sphere", "3"),
        ("scale", "x.dcm", "--catheter", "six", "--along", "1,1,2,2"),
        ("scale", "x.dcm", "--catheter", "6F"),
        ("scale", "x.dcm", "--segment", "10", "--along", "1,2,3"),
        ("scale", "x.dcm", "--sphere", "10", "--at", "1,2"),
        ("scale", "x.dcm", "--given", "0.2"),
        ("scale", "x.dcm", "--bands", "10", "--along", "1,2"),
        ("scale", "x.dcm", "--grid", "10", "--corners", "1,2,3,4"),
        ("scale", "x.dcm", "--sphere", "10", "--at", "1,2,3", "--count", "4"),
        ("demo", "--seed", "-1"),
        ("scale", "x.dcm", "--segment", "10", "--along", "1,2,3,4", "--frames", "5:2"),
        ("unknown",),
    ],
)
def test_wrong_usage_exits_2(words):
    assert run(*words).returncode == 2


def test_schema_accepts_the_file_it_describes(folder):
    schema = json.loads(run("schema", "read").stdout)
    read = {
        "annot_read": 1,
        "reader": "A",
        "loops": [{"file": "x.dcm", "scale": {"from": "y.dcm"}, "calipers": []}],
    }
    jsonschema.validate(read, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(read | {"unknown": 1}, schema)


def test_schema_accepts_the_shipped_protocols_and_no_unknown_quantity():
    from ruamel.yaml import YAML

    schema = json.loads(run("schema", "protocol").stdout)
    for name in shipped_protocols():
        content = YAML(typ="safe", pure=True).load(shipped_text(name))
        jsonschema.validate(content, schema)
        wrong = {**content["quantities"], "size": next(iter(content["quantities"].values()))}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(content | {"quantities": wrong}, schema)


def test_schema_names_every_column_of_the_table():
    columns = json.loads(run("schema", "table").stdout)
    assert len(columns) == 49
    assert all(column["meaning"] for column in columns)


def test_view_without_a_screen_says_so(folder):
    env = {key: value for key, value in os.environ.items() if "DISPLAY" not in key}
    done = subprocess.run(
        [sys.executable, "-m", "annot.cli", "view", str(folder / "us_090.dcm")],
        capture_output=True,
        text=True,
        check=False,
        env=env,
    )
    assert done.returncode == 1
    assert done.stderr.startswith("annot: ")


def test_outputs_never_replace_inputs(folder, tmp_path):
    loop = tmp_path / "loop.dcm"
    loop.write_bytes((folder / "us_090.dcm").read_bytes())
    caliper = {"id": "a", "quantity": "distance", "frame": 0, "points_px": [[9, 9], [50, 50]]}
    read = tmp_path / "read.json"
    loops = [{"file": "loop.dcm", "scale": {"kind": "header"}, "calipers": [caliper]}]
    read.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "T", "loops": loops}))
    before = (loop.read_bytes(), read.read_bytes())
    assert_one_line_fault(run("measure", read, "-o", read), "holds something else")
    assert_one_line_fault(run("measure", read, "-o", loop), "holds something else")
    assert_one_line_fault(run("measure", read, "-o", os.devnull), "is not a file")
    assert (loop.read_bytes(), read.read_bytes()) == before


def test_names_that_look_like_markup_are_printed_as_they_are(folder, tmp_path):
    caliper = {
        "id": "o1 [red]",
        "quantity": "distance",
        "frame": 0,
        "points_px": [[9, 9], [50, 50]],
    }
    read = tmp_path / "read.json"
    loops = [{"file": str(folder / "us_090.dcm"), "calipers": [caliper]}]
    content = {"annot_read": 1, "reader": "A [/b] [core lab]", "study": "T", "loops": loops}
    read.write_text(json.dumps(content))
    done = run("measure", read)
    assert done.returncode == 0
    assert "A [/b] [core lab]" in done.stdout
    assert "o1 [red]" in done.stdout
    assert "1 of 1 measurements have no scale" in done.stdout


def test_a_read_without_calipers_is_nothing_to_measure(tmp_path):
    read = tmp_path / "read.json"
    read.write_text(json.dumps({"annot_read": 1, "reader": "A", "loops": []}))
    assert_one_line_fault(run("measure", read, "-o", tmp_path / "t.csv"), "nothing to measure")
    assert [path.name for path in tmp_path.iterdir()] == ["read.json"]


def test_a_frame_that_cannot_be_seen_is_not_measured(tmp_path):
    written = write_case("us_090", tmp_path, frames=4, encoding="jpeg")
    whole = written.path.read_bytes()
    written.path.write_bytes(whole[: len(whole) // 2])
    caliper = {"id": "a", "quantity": "distance", "frame": 3, "points_px": [[99, 300], [150, 330]]}
    read = tmp_path / "read.json"
    loops = [{"file": "us_090.dcm", "scale": {"kind": "header"}, "calipers": [caliper]}]
    read.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "T", "loops": loops}))
    assert_one_line_fault(run("measure", read), "us_090.dcm", "frame 3")


def test_version_is_told():
    assert run("--version").stdout.startswith("annot ")


@pytest.fixture
def images(folder, tmp_path):
    """The frames of one loop, each as a file of its own."""
    loop = dcmread(folder / "xa_clean.dcm")
    size = 2 * loop.Rows * loop.Columns
    pixels = loop.PixelData
    (tmp_path / "run").mkdir()
    for keyword in ("NumberOfFrames", "FrameTime", "FrameIncrementPointer"):
        delattr(loop, keyword)
    for n in range(6):
        loop.PixelData = pixels[n * size : (n + 1) * size]
        loop.SOPInstanceUID = loop.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.{n}"
        loop.InstanceNumber = n + 1
        loop.save_as(tmp_path / "run" / f"{n}.dcm")
    return tmp_path / "run"


def test_a_folder_of_single_images_is_one_loop_on_one_line(folder, images):
    done = run("loops", images)
    assert done.returncode == 0
    assert "run (6 files)" in " ".join(done.stdout.split())
    [entry] = [json.loads(line) for line in run("loops", images, "--json").stdout.splitlines()]
    assert (entry["files"], entry["frames"]) == (6, 6)


def test_a_folder_of_single_images_has_the_scale_of_its_loop(folder, images):
    apart, whole = (
        json.loads(run("scale", path, "--header", "--json").stdout)
        for path in (images, folder / "xa_clean.dcm")
    )
    assert apart["mm_per_px_row"] == whole["mm_per_px_row"]
    assert any(
        "not stills" in note
        for note in json.loads(run("loops", images, "--json").stdout)["warnings"]
    )
