"""Loops inside zip archives and on discs with an index (PS3.10 8.6)."""

import warnings
import zipfile
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread, dcmwrite
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.sequence import Sequence
from pydicom.uid import DeflatedExplicitVRLittleEndian, ExplicitVRLittleEndian

from annot.errors import LoopError
from annot.loops import LoopArray, find_loops, open_loop, read_header
from annot.loops.byte_source import MemoryBytes, PartOfBytes

PIXELS = np.arange(3 * 4 * 5, dtype=np.uint16).reshape(3, 4, 5)
PACKING = [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]


@pytest.fixture
def packed(write_loop, tmp_path):
    """Give a function that packs one loop, and other files, into an archive."""

    def pack(packing=zipfile.ZIP_DEFLATED, name="study.zip", **options) -> Path:
        loop = write_loop(PIXELS, **options)
        archive = tmp_path / name
        with zipfile.ZipFile(archive, "w", packing) as target:
            target.writestr("notes.txt", "not a loop " * 50)
            target.write(loop, "series/b.dcm")
            target.write(loop, "series/a.dcm")
        loop.unlink()
        return archive

    return pack


@pytest.mark.parametrize("packing", PACKING)
def test_members_are_found_and_read_like_files(packed, packing):
    archive = packed(packing)
    found = list(find_loops([archive]))
    assert found == [archive / "series/a.dcm", archive / "series/b.dcm"]
    assert list(find_loops([archive.parent])) == found
    assert list(find_loops([found[0]])) == found[:1]
    header = read_header(found[0])
    assert (header.path, header.frames) == (found[0], 3)
    np.testing.assert_array_equal(np.asarray(LoopArray(open_loop(found[0]))), PIXELS)


@pytest.mark.parametrize("packing", PACKING[:2])
def test_deflated_and_compressed_members_are_read(packed, packing, write_loop):
    archive = packed(packing, syntax=DeflatedExplicitVRLittleEndian)
    np.testing.assert_array_equal(open_loop(archive / "series/a.dcm").frame(2), PIXELS[2])


def test_a_stored_member_is_looked_at_where_it_lies(packed):
    loop = open_loop(packed(zipfile.ZIP_STORED) / "series/a.dcm")
    view = loop.view(1)
    np.testing.assert_array_equal(view, PIXELS[1])
    assert not view.flags.owndata


def test_frames_of_a_compressed_loop_are_found_inside_an_archive(packed):
    streams = [b"\xff\xd8\xff" + bytes(9), b"\xff\xd8\xff" + bytes(5), b"\xff\xd8\xff" + bytes(7)]
    archive = packed(
        zipfile.ZIP_STORED, syntax="1.2.840.10008.1.2.4.50", value=encapsulate(streams)
    )
    loop = open_loop(archive / "series/a.dcm")
    with pytest.raises(LoopError, match="holds no compressed image"):
        loop.frame(2)


@pytest.mark.parametrize("packing", PACKING[:2])
def test_a_damaged_member_is_told(packed, packing):
    archive = packed(packing)
    content = bytearray(archive.read_bytes())
    with zipfile.ZipFile(archive) as opened:
        info = opened.getinfo("series/a.dcm")
    content[info.header_offset + 60 : info.header_offset + 200] = b"\xff" * 140
    archive.write_bytes(content)
    with pytest.raises(LoopError, match=r"a\.dcm"):
        open_loop(archive / "series/a.dcm").frame(0)
    assert archive / "series/b.dcm" in set(find_loops([archive]))


def test_what_is_no_member_is_told(packed, tmp_path):
    archive = packed()
    with pytest.raises(LoopError, match=r"study\.zip holds no series/c\.dcm"):
        open_loop(archive / "series/c.dcm")
    with pytest.raises(LoopError, match=r"notes\.txt is not a DICOM file"):
        open_loop(archive / "notes.txt")
    plain = tmp_path / "plain"
    plain.write_text("nothing")
    with pytest.raises(LoopError, match="plain is no zip archive"):
        open_loop(plain / "a.dcm")
    archive.write_bytes(archive.read_bytes()[:-30])
    with pytest.raises(LoopError, match="not a DICOM file"):
        open_loop(archive)


def test_an_encrypted_member_is_told(packed):
    archive = packed()
    content = bytearray(archive.read_bytes())
    at = content.index(b"PK\x01\x02", content.index(b"PK\x01\x02") + 1)
    content[at + 8] |= 1
    archive.write_bytes(content)
    with pytest.raises(LoopError, match=r"b\.dcm is encrypted in study\.zip"):
        open_loop(archive / "series/b.dcm")


def test_a_member_that_inflates_without_end_is_refused(packed, monkeypatch):
    loop = open_loop(packed() / "series/a.dcm")
    monkeypatch.setattr("annot.loops.archives.LARGEST_IN_MEMORY", 64)
    with pytest.raises(LoopError, match="inflates to more than"):
        loop.frame(0)


def test_a_part_of_bytes_ends_where_it_ends():
    part = PartOfBytes(MemoryBytes(b"..inside.."), 2, 6)
    target = bytearray(9)
    assert (part.size, part.read_into(4, memoryview(target)), target[:3]) == (6, 2, b"de\0")
    assert (bytes(part.mapped()), part.read(3, 9)) == (b"inside", b"ide")
    with part.opened() as stream:
        assert (stream.read(), stream.seek(-2, 2), stream.read(5)) == (b"inside", 4, b"de")


def write_index(folder: Path, *files: list[str]) -> Path:
    index = Dataset()
    records = []
    for kind, parts in [
        ("PATIENT", None),
        *(("IMAGE", one) for one in files),
        ("SR DOCUMENT", ["SR"]),
    ]:
        record = Dataset()
        record.DirectoryRecordType = kind
        if parts:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                record.ReferencedFileID = parts
        records.append(record)
    index.DirectoryRecordSequence = Sequence(records)
    index.file_meta = FileMetaDataset()
    index.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    index.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.1.3.10"
    index.file_meta.MediaStorageSOPInstanceUID = "1.2.3"
    path = folder / "DICOMDIR"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # names that lead elsewhere are wrong on purpose
        dcmwrite(path, index, enforce_file_format=True)
    return path


def test_a_disc_index_names_the_loops(write_loop, tmp_path):
    (tmp_path / "IMAGES").mkdir()
    write_loop(PIXELS).rename(tmp_path / "IMAGES" / "I1")
    write_loop(PIXELS).rename(tmp_path / "IMAGES" / "i2")
    index = write_index(tmp_path, ["IMAGES", "I1"], ["IMAGES", "I2"], ["GONE"])
    one, two, gone = find_loops([index])
    assert one == tmp_path / "IMAGES" / "I1"
    assert two.samefile(tmp_path / "IMAGES" / "i2") if two.exists() else two.name == "I2"
    assert gone == tmp_path / "GONE"
    np.testing.assert_array_equal(open_loop(one).frame(0), PIXELS[0])
    with pytest.raises(LoopError, match="GONE does not exist"):
        open_loop(gone)
    assert len(list(find_loops([tmp_path]))) == 2  # a folder is walked, its index left aside


def test_an_index_leads_nowhere_else(write_loop, tmp_path):
    folder = tmp_path / "disc"
    folder.mkdir()
    write_loop(PIXELS)
    index = write_index(folder, ["..", "loop.dcm"])
    with pytest.raises(LoopError, match="outside its own folder"):
        list(find_loops([index]))


def test_an_index_that_is_none_is_told(tmp_path):
    (tmp_path / "DICOMDIR").write_bytes(b"nothing")
    with pytest.raises(LoopError, match="no readable index"):
        list(find_loops([tmp_path / "DICOMDIR"]))


def test_the_index_that_pydicom_ships_names_its_images():
    from pydicom.data import get_testdata_file

    index = Path(str(get_testdata_file("DICOMDIR", download=False)))
    named = list(find_loops([index]))
    records = dcmread(index).DirectoryRecordSequence
    assert len(named) == sum(one.DirectoryRecordType == "IMAGE" for one in records) > 0
