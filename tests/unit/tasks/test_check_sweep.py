"""A sweep finds what is wrong with a header, says why, and goes on where it was killed."""

import json
import signal
import subprocess
import sys
import time
import zipfile
from datetime import date
from pathlib import Path

import data_store
import pydicom.data
import pytest
from pydicom import dcmread, dcmwrite
from pydicom.dataset import Dataset
from pydicom.uid import DeflatedExplicitVRLittleEndian, ExplicitVRBigEndian, ImplicitVRLittleEndian
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError, LoopError
from annot.loops import read_header
from annot.loops.header_glance import glance
from annot.quality.judgement import judged
from annot.tasks.check.header_findings import verdict_of
from annot.tasks.check.look import FileStamp, look
from annot.tasks.check.reference import Room
from annot.tasks.check.register import Check, register_at
from annot.tasks.check.sweep import sweep
from annot.tasks.check.sweep_journal import journal_lines
from annot.tasks.check.sweep_summary import write_findings
from annot.tasks.rehearse.workers import Place
from annot.uncertainty import propagate, stated
from tests.bench.archive import make_archive


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    folder = tmp_path_factory.mktemp("archive")
    make_archive(folder, 400)
    (folder / "notes.txt").write_text("no loop")
    return folder


@pytest.fixture
def change(archive, tmp_path):
    """Write an X-ray (or echo) file of the archive with some attributes changed."""

    def changed(kind, attributes, name="one.dcm"):
        data = dcmread(archive / "000" / ("000002.dcm" if kind == "XA" else "000001.dcm"))
        for keyword, value in attributes.items():
            owner = data.SequenceOfUltrasoundRegions[0] if hasattr(REGION, keyword) else data
            if value is None:
                del owner[keyword]
            else:
                setattr(owner, keyword, value)
        data.save_as(tmp_path / name)
        return tmp_path / name

    return changed


class REGION:
    PhysicalDeltaX = PhysicalDeltaY = RegionLocationMaxX1 = PhysicalUnitsXDirection = None


def kinds(path):
    return [(one.kind, one.reason) for one in verdict_of(glance(path)).findings]


# ---------------------------------------------------------------- the glance
SHIPPED = (
    Path(pydicom.data.__file__).parent / "test_files",
    Path(data_store.__file__).parent / "data",
)


def _readable():
    for path in sorted(one for folder in SHIPPED for one in folder.glob("*.dcm")):
        try:
            yield pytest.param(path, read_header(path), id=path.name)
        except LoopError:
            continue


@pytest.mark.parametrize(("path", "header"), list(_readable()))
def test_a_glance_sees_what_the_whole_header_has(path, header):
    """Every image that pydicom and pydicom-data ship and the whole reading takes."""
    seen = glance(path)
    if seen.whole:
        return
    assert seen.sop_instance_uid == header.sop_instance_uid
    assert (seen.rows, seen.columns, seen.frames) == (header.rows, header.columns, header.frames)
    assert seen.modality == header.modality
    assert seen.system == header.system
    if header.xray is not None:
        assert seen.imager_spacing_mm == header.xray.imager_pixel_spacing_mm
        assert seen.source_to_detector_mm == header.xray.source_to_detector_mm
    own = [one.mm_per_px for one in seen.regions or () if one.is_2d_length]
    assert own == [one.mm_per_px for one in header.regions if one.is_2d_length]


@pytest.mark.parametrize(
    "syntax", [ImplicitVRLittleEndian, ExplicitVRBigEndian, DeflatedExplicitVRLittleEndian]
)
@pytest.mark.parametrize("number", [1, 2])
def test_every_native_encoding_is_seen_alike(archive, tmp_path, syntax, number):
    plain = archive / "000" / f"{number:06d}.dcm"
    data, other = dcmread(plain), tmp_path / "other.dcm"
    fresh = Dataset({element.tag: element for element in data.iterall() if element.tag in data})
    fresh.file_meta = data.file_meta
    fresh.file_meta.TransferSyntaxUID = syntax
    dcmwrite(other, fresh, enforce_file_format=True)
    ((swept,), (as_plain,)) = (
        one.lines for file in (other, plain) for one in look((FileStamp(str(file), 0, 0),))
    )
    for name in ("sop", "modality", "system", "scale"):
        assert swept[name] == as_plain[name]


# ---------------------------------------------------------------- findings
@pytest.mark.parametrize(
    ("kind", "attributes", "expected"),
    [
        ("XA", {}, []),
        ("US", {}, []),
        ("XA", {"ImagerPixelSpacing": None}, [("no scale", "neither PixelSpacing nor Imager")]),
        (
            "XA",
            {"DistanceSourceToPatient": None, "EstimatedRadiographicMagnificationFactor": None},
            [("no scale", "true at the detector only")],
        ),
        (
            "XA",
            {"PixelSpacing": [0.25, 0.25], "PixelSpacingCalibrationType": "GEOMETRY"},
            [("contradiction", "51 % apart")],
        ),
        (
            "XA",
            {"DistanceSourceToDetector": "104"},
            [("implausible", "it would fit as cm"), ("contradiction", "behind the detector")],
        ),
        (
            "XA",
            {"DistanceSourceToPatient": "300"},
            [("implausible", "outside the usual 400 to 1000"), ("contradiction", "not that of")],
        ),
        (
            "XA",
            {"EstimatedRadiographicMagnificationFactor": "1.5"},
            [("contradiction", "magnification 1.5")],
        ),
        ("XA", {"ImagerPixelSpacing": [0.2, 0.4]}, [("implausible", "far from square")]),
        (
            "XA",
            {"ImagerPixelSpacing": [0.0, 0.0]},
            [("implausible", "no pixel of"), ("no scale", "neither")],
        ),
        ("XA", {"ImagerPixelSpacing": [2.3, 2.3]}, [("implausible", "1.659 mm/px")]),
        ("XA", {"CineRate": 30}, [("timing", "FrameTime gives 15 frames per second, CineRate 30")]),
        ("XA", {"FrameTime": "0.066"}, [("timing", "perhaps another unit")]),
        ("US", {"SequenceOfUltrasoundRegions": None}, [("no scale", "no ultrasound regions")]),
        ("US", {"PhysicalUnitsXDirection": 4}, [("no scale", "gives lengths")]),
        ("US", {"PhysicalDeltaX": 0.2}, [("implausible", "2 mm/px"), ("implausible", "square")]),
        ("US", {"RegionLocationMaxX1": 900}, [("contradiction", "leaves the image")]),
    ],
)
def test_what_is_wrong_is_found_with_its_reason(change, kind, attributes, expected):
    found = kinds(change(kind, attributes))
    assert [one for one, _ in found] == [one for one, _ in expected]
    for (_, reason), (_, words) in zip(found, expected, strict=True):
        assert words in reason


def test_two_overlapping_regions_of_different_size_contradict(change, archive, tmp_path):
    data = dcmread(archive / "000" / "000001.dcm")
    again = dcmread(archive / "000" / "000001.dcm").SequenceOfUltrasoundRegions[0]
    again.PhysicalDeltaX = again.PhysicalDeltaX * 1.1
    data.SequenceOfUltrasoundRegions.append(again)
    data.save_as(tmp_path / "two.dcm")
    assert ("contradiction", "two regions overlap and give different pixel sizes") in kinds(
        tmp_path / "two.dcm"
    )


# ---------------------------------------------------------------- the sweep
def test_a_sweep_counts_everything_and_notices_new_software(archive, tmp_path):
    found = sweep([archive, archive / "000"], journal=tmp_path / "j.jsonl")
    assert (found.files, found.loops, found.with_scale) == (401, 400, 400)
    # every 50th states a patient behind the detector
    assert found.counts == {
        "no scale": 0,
        "contradiction": 8,
        "implausible": 0,
        "timing": 0,
        "unreadable": 0,
    }
    assert len(found.software) == 14
    assert {(one.before, one.after) for one in found.software} == {("V-000", "V-001")}
    assert all(one.last_before < one.first_after for one in found.software)


def test_a_damaged_file_and_an_archive_within_are_looked_at(archive, tmp_path):
    whole = (archive / "000" / "000002.dcm").read_bytes()
    (tmp_path / "cut.dcm").write_bytes(whole[:300])
    (tmp_path / "empty.dcm").write_bytes(b"")
    with zipfile.ZipFile(tmp_path / "disc.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(archive / "000" / "000001.dcm", "series/one.dcm")
        packed.writestr("readme.txt", "no loop")
    found = sweep([tmp_path])
    assert (found.files, found.loops) == (3, 2)
    assert found.counts["unreadable"] + found.counts["no scale"] == 1


def test_results_do_not_depend_on_where_files_are_looked_at(archive):
    alone = sweep([archive])
    assert sweep([archive], place=Place(workers=2)) == alone


def test_a_cluster_of_two_workers_finds_the_same(archive):
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    )
    with cluster:
        there = sweep([archive], place=Place(scheduler=cluster.scheduler_address))
    assert there == sweep([archive])


# ---------------------------------------------------------------- going on
def looked_at(journal):
    with journal.open() as lines:
        return [one["file"][0] for one in map(json.loads, lines) if "file" in one]


def test_a_sweep_killed_in_the_middle_goes_on_without_repeating(archive, tmp_path):
    journal = tmp_path / "j.jsonl"
    command = [sys.executable, "-m", "annot.cli", "check", "sweep", str(archive)]
    command += ["--journal", str(journal), "--workers", "1"]
    slow = "import time, annot.tasks.check.look as look\n"
    slow += "plain = look._lines_of\n"
    slow += "look._lines_of = lambda path: (time.sleep(0.004), plain(path))[1]\n"
    slow += "import sys; sys.argv = sys.argv[1:]\nfrom annot.cli.main import run\nrun()"
    child = subprocess.Popen(
        [sys.executable, "-c", slow, "-", *command[3:]],
        stdout=subprocess.DEVNULL,
        cwd=Path(__file__).parents[3],
    )
    deadline = time.monotonic() + 60
    while not (journal.exists() and len(journal.read_bytes()) > 20_000):
        assert child.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.02)
    child.send_signal(signal.SIGKILL)
    child.wait()
    before = looked_at(journal)
    assert 0 < len(before) < 401
    found = sweep([archive], journal=journal)
    assert found.resumed == len(before)
    after = looked_at(journal)
    assert after[: len(before)] == before
    assert sorted(after) == sorted(set(after))
    assert found == sweep([archive], journal=journal) or found.resumed < 401
    assert found.loops == 400


def test_a_line_that_was_cut_off_is_looked_at_again(archive, tmp_path):
    journal = tmp_path / "j.jsonl"
    whole = sweep([archive], journal=journal)
    content = journal.read_bytes()
    for cut in (len(content) - 5, len(content) - 120, content.index(b"\n") + 1):
        journal.write_bytes(content[:cut])
        again = sweep([archive], journal=journal)
        assert again.resumed < 401
        assert (again.loops, again.counts) == (whole.loops, whole.counts)


def test_a_file_that_changed_is_looked_at_again_and_counts_once(archive, tmp_path):
    file = tmp_path / "loops" / "one.dcm"
    file.parent.mkdir()
    file.write_bytes((archive / "000" / "000002.dcm").read_bytes())
    journal = tmp_path / "j.jsonl"
    assert sum(sweep([file.parent], journal=journal).counts.values()) == 0
    data = dcmread(file)
    del data.ImagerPixelSpacing
    data.save_as(file)
    found = sweep([file.parent], journal=journal)
    assert (found.loops, found.counts["no scale"]) == (1, 1)
    assert len(list(journal_lines(journal))) == 1


@pytest.mark.parametrize(
    "content", [b"study,loop\n", b'{"other": 1}\n', b'{"annot_sweep": 1}\nxx\n']
)
def test_a_foreign_or_damaged_journal_is_left_alone(archive, tmp_path, content):
    journal = tmp_path / "j.jsonl"
    journal.write_bytes(content)
    with pytest.raises(InputError, match="journal"):
        sweep([archive], journal=journal)
    assert journal.read_bytes() == content


def test_a_path_that_does_not_exist_is_refused(tmp_path):
    with pytest.raises(InputError, match="does not exist"):
        sweep([tmp_path / "none"])


# ---------------------------------------------------------------- the command
def test_the_command_answers_for_machines_and_lists_everything(archive, tmp_path):
    arguments = ["check", "sweep", str(archive), "--workers", "1"]
    journal, output = tmp_path / "j.jsonl", tmp_path / "all.csv"
    answer = CliRunner().invoke(
        app, [*arguments, "--journal", str(journal), "-o", str(output), "--json"]
    )
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    assert told["counts"]["contradiction"] == 8
    assert len(told["software_changes"]) == 14
    assert len(output.read_text().splitlines()) == 9
    assert CliRunner().invoke(app, arguments).exit_code == 0
    output.write_text("mine")
    with pytest.raises(InputError, match="something else"):
        write_findings(journal, output)
    assert output.read_text() == "mine"


def test_a_list_without_a_journal_is_refused(archive, tmp_path):
    arguments = ["check", "sweep", str(archive), "-o", str(tmp_path / "all.csv")]
    answer = CliRunner().invoke(app, arguments)
    assert isinstance(answer.exception, InputError)


# ---------------------------------------------------------------- header against object
def test_stored_checks_of_loops_in_the_archive_count_as_objects(archive, tmp_path):
    store = tmp_path / "qa.db"
    register = register_at(str(store))
    register.enter(Room(name="lab", modality="XA", every_days=30), by="QA")
    header = read_header(archive / "000" / "000002.dcm")
    for number, percent in enumerate((0.5, 9.0)):
        one = stated(percent, 0.3, key="x", unit="%", source="test")
        value = judged(
            propagate(lambda x: x, [one], unit="%"), quantity="scale_deviation", target="ball"
        )
        loop = {"file": "a.dcm", "sop_instance_uid": header.sop_instance_uid}
        elsewhere = {"file": "b.dcm", "sop_instance_uid": "9.9.9"}
        for shown in (loop, elsewhere):
            register.add_check(
                Check(
                    key="",
                    room="lab",
                    taken=date(2024, 1, 1 + number),
                    objects=("ball",),
                    loops=(shown,),
                    as_found=(value,),
                ),
                by="QA",
            )
    arguments = ["check", "sweep", str(archive), "--workers", "1", "--store", str(store), "--json"]
    told = json.loads(CliRunner().invoke(app, arguments).stdout)["header_against_object"]
    assert [one["loop"] for one in told] == ["a.dcm", "a.dcm"]
    # U of the header is 2 × 5 %/√3, of the object 0.6 %
    assert [one["e_n"] for one in told] == pytest.approx([0.5 / 5.805, 9.0 / 5.805], abs=1e-3)
    assert "agree" in told[0]["verdict"]
    assert "differ by more" in told[1]["verdict"]


def test_an_enhanced_object_is_read_whole(archive, tmp_path):
    """A file of another class is left to the reading of whole headers, and says what that says."""
    data = dcmread(archive / "000" / "000002.dcm")
    data.SOPClassUID = data.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.12.1.1"
    data.save_as(tmp_path / "enhanced.dcm")
    assert glance(tmp_path / "enhanced.dcm").whole
    ((line,),) = (one.lines for one in look((FileStamp(str(tmp_path / "enhanced.dcm"), 0, 0),)))
    assert line["sop"] == data.SOPInstanceUID
    assert line["system"] == read_header(tmp_path / "enhanced.dcm").system
    assert line["scale"] is not None or line["findings"]


def test_regions_that_cannot_be_read_are_told(archive, tmp_path):
    data = dcmread(archive / "000" / "000001.dcm")
    del data.SequenceOfUltrasoundRegions[0].RegionLocationMinX0
    data.save_as(tmp_path / "one.dcm")
    found = kinds(tmp_path / "one.dcm")
    assert found == [("unreadable", "the ultrasound regions cannot be read")]
