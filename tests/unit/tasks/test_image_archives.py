"""Single images inside zip archives group into loops and open like those in folders."""

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import LoopError
from annot.exports import rows_of
from annot.loops import ecg_from_waveform
from annot.tasks.measure import measure_read
from annot.tasks.open import (
    leads_to_loops,
    list_loops,
    open_loop,
    open_loops,
    refuse_unopenable,
)
from annot.tasks.read import load_read
from tests.unit.tasks.test_image_folders import SOP, write_image

COUNTER = Path("/proc/self/io")


def pack(archive, images, *, packing=zipfile.ZIP_DEFLATED, below="", **attributes):
    """Put single images into an archive, those given by number with attributes of their own."""
    with zipfile.ZipFile(archive, "w", packing) as target:
        target.writestr(f"{below}notes.txt", "no image " * 50)
        for n in images:
            write_image(archive.parent / "one.dcm", n, **attributes.get(f"image_{n}", {}))
            target.write(archive.parent / "one.dcm", f"{below}{9 - n}.dcm")
    (archive.parent / "one.dcm").unlink(missing_ok=True)
    return archive


@pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
@pytest.mark.parametrize("below", ["", "series/"])
def test_one_line_stands_for_the_images_of_one_loop(tmp_path, packing, below):
    archive = pack(tmp_path / "study.zip", range(4), packing=packing, below=below)
    place = archive / below if below else archive
    for named in (archive, tmp_path):
        [listed] = list_loops([named])
        facts = listed.facts()
        assert (facts["file"], facts["files"], facts["frames"]) == (str(place), 4, 4)
        assert facts["frames_per_second"] == pytest.approx(10)
    loop = open_loop(place)
    for n in range(4):
        np.testing.assert_array_equal(loop.frame(n), np.full((60, 80), 100 * n))
        assert loop.reference(n).sop_instance_uid == f"{SOP}.{n}"


def test_images_in_a_folder_of_the_archive_are_another_loop(tmp_path):
    archive = pack(tmp_path / "study.zip", range(3))
    with zipfile.ZipFile(archive, "a") as target:
        for n in range(4, 6):
            write_image(tmp_path / "one.dcm", n)
            target.write(tmp_path / "one.dcm", f"later/{n}.dcm")
    assert open_loop(archive).frames == 3
    assert open_loop(archive / "later").frames == 2
    assert {one.path: one.files for one in list_loops([archive])} == {
        archive: 3,
        archive / "later": 2,
    }


def test_members_named_one_by_one_are_listed_one_by_one(tmp_path):
    archive = pack(tmp_path / "study.zip", range(3))
    named = [archive / f"{9 - n}.dcm" for n in range(3)]
    assert [one.path for one in list_loops(named)] == named
    assert open_loop(named[1]).frame(0).max() == 100


@pytest.mark.parametrize(
    "odd",
    [
        {"SeriesInstanceUID": f"{SOP}.9"},
        {"ImagerPixelSpacing": [0.3, 0.3]},
        {"AcquisitionDateTime": "20010203120100.2"},
    ],
)
def test_an_archive_of_other_things_is_listed_one_by_one(tmp_path, odd):
    archive = pack(tmp_path / "study.zip", range(3), image_2=odd)
    names = [one.path.name for one in list_loops([archive])]
    assert names == ["7.dcm", "8.dcm", "9.dcm"]
    with pytest.raises(LoopError, match=r"study\.zip does not open as one loop"):
        open_loop(archive)


def test_a_damaged_member_is_no_frame_left_out(tmp_path):
    """A loop that opened without it would count every later frame too low."""
    archive = pack(tmp_path / "study.zip", range(3), packing=zipfile.ZIP_STORED)
    content = bytearray(archive.read_bytes())
    with zipfile.ZipFile(archive) as opened:
        at = opened.getinfo("8.dcm").header_offset
    content[at : at + 2] = b"XX"  # the member's own header
    archive.write_bytes(content)
    listed = list(list_loops([archive]))
    assert [one.files for one in listed] == [1, 1, 1]
    faults = [one.fault for one in listed if one.header is None]
    assert len(faults) == 1
    assert "8.dcm" in faults[0]


def test_a_file_that_cannot_be_read_is_no_frame_left_out(tmp_path, monkeypatch):
    from annot.loops import finding

    for n in range(3):
        write_image(tmp_path / f"{n}.dcm", n)
    mark = finding.has_mark

    def refused(source):
        if source._path.name == "1.dcm":
            raise PermissionError(13, "Permission denied")
        return mark(source)

    monkeypatch.setattr(finding, "has_mark", refused)
    with pytest.raises(LoopError, match="cannot be listed: Permission denied"):
        open_loop(tmp_path)


def test_a_row_names_the_image_inside_the_archive(tmp_path):
    pack(tmp_path / "study.zip", range(4), below="run/")
    calipers = [{"id": "c", "quantity": "depth", "frame": 2, "points_px": [[10, 10], [40, 50]]}]
    loop = {"file": "study.zip/run", "scale": {"kind": "header"}, "calipers": calipers}
    path = tmp_path / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [loop]}))
    [row] = rows_of(measure_read(load_read(path), tmp_path))
    assert (row["sop_instance_uid"], row["dicom_frame"]) == (f"{SOP}.2", 1)
    assert row["value"] == pytest.approx(50 * 0.2 * 0.75)


def test_a_loop_in_an_archive_asked_for_an_ecg_looks_at_its_first_image(tmp_path):
    loop = open_loop(pack(tmp_path / "study.zip", range(3)))
    write_image(tmp_path / "ecg.dcm", 8, AcquisitionTimeSynchronized="Y")
    trace, [note] = ecg_from_waveform(tmp_path / "ecg.dcm", loop.header)
    assert trace is None
    assert "the loop does not say that it was acquired synchronized" in note


def test_the_loops_of_an_archive_are_listed_by_the_command(tmp_path):
    archive = pack(tmp_path / "study.zip", range(4))
    ran = CliRunner().invoke(app, ["loops", str(archive), "--json"])
    facts = json.loads(ran.stdout)
    assert (facts["file"], facts["files"], ran.exit_code) == (str(archive), 4, 0)


def test_everything_that_opens_is_opened_and_the_rest_is_told(tmp_path):
    pack(tmp_path / "study.zip", range(4))
    (tmp_path / "run").mkdir()
    for n in range(3):
        write_image(tmp_path / "run" / f"{n}.dcm", n)
    write_image(tmp_path / "alone.dcm", 8)
    write_image(tmp_path / "odd.dcm", 7, PhotometricInterpretation="UNHEARD OF")
    loops, [fault] = open_loops([tmp_path])
    assert {loop.header.path.name: loop.frames for loop in loops} == {
        "alone.dcm": 1,
        "run": 3,
        "study.zip": 4,
    }
    assert "odd.dcm" in fault


def test_a_header_that_reads_may_still_not_open(tmp_path):
    write_image(tmp_path / "a.dcm", 1, PixelData=bytes(100))
    assert next(iter(list_loops([tmp_path]))).header is not None
    loops, [fault] = open_loops([tmp_path])
    assert loops == []
    assert "a.dcm" in fault
    with pytest.raises(LoopError, match=r"a\.dcm"):
        refuse_unopenable(tmp_path)


def test_what_holds_a_loop_is_told_from_what_does_not(tmp_path):
    assert not leads_to_loops(tmp_path)
    assert not leads_to_loops(tmp_path / "missing")
    with pytest.raises(LoopError, match="No DICOM file lies in"):
        refuse_unopenable(tmp_path)
    archive = pack(tmp_path / "study.zip", [])
    assert not leads_to_loops(archive)
    pack(archive, range(2))
    assert leads_to_loops(archive)
    assert leads_to_loops(archive / "9.dcm")
    assert leads_to_loops(tmp_path)
    refuse_unopenable(tmp_path)
    (tmp_path / "notes.txt").write_text("not a loop")
    assert not leads_to_loops(tmp_path / "notes.txt")


def test_a_replaced_archive_is_read_anew(tmp_path):
    archive = pack(tmp_path / "study.zip", range(2))
    assert open_loop(archive).frames == 2
    archive.unlink()
    pack(archive, range(4))
    assert open_loop(archive).frames == 4


@pytest.mark.skipif(not COUNTER.exists(), reason="needs Linux's byte counter")
@pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_listing_an_archive_as_one_loop_reads_no_pixels(tmp_path, packing):
    noise = np.random.default_rng(3).bytes(2_000_000)  # which cannot be packed any smaller
    size = {"Rows": 1000, "Columns": 1000, "PixelData": noise}
    archive = pack(
        tmp_path / "a.zip", range(4), packing=packing, **{f"image_{n}": size for n in range(4)}
    )
    before = int(COUNTER.read_text().split("rchar: ")[1].split()[0])
    [one] = list_loops([archive])
    read = int(COUNTER.read_text().split("rchar: ")[1].split()[0]) - before
    assert (one.files, read < 8 << 16) == (4, True)  # of eight million


@pytest.mark.skipif(not COUNTER.exists(), reason="needs Linux's byte counter")
def test_a_directory_of_an_archive_is_not_read_once_for_each_member(tmp_path):
    archive = pack(tmp_path / "study.zip", range(9), packing=zipfile.ZIP_STORED)
    with zipfile.ZipFile(archive, "a", zipfile.ZIP_STORED) as target:
        for n in range(2000):  # a directory of about 110 kB
            target.writestr(f"other/{n}.txt", "")
    before = int(COUNTER.read_text().split("rchar: ")[1].split()[0])
    assert open_loop(archive).frames == 9
    read = int(COUNTER.read_text().split("rchar: ")[1].split()[0]) - before
    assert read < 9 * 110_000
