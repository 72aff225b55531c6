"""Listing reads headers only: the bytes that the process reads are counted by the system."""

import zipfile
from pathlib import Path

import numpy as np
import pytest
from pydicom.encaps import encapsulate
from pydicom.uid import ExplicitVRBigEndian, ExplicitVRLittleEndian, ImplicitVRLittleEndian

from annot.loops import find_loops, open_loop, read_header

COUNTER = Path("/proc/self/io")
pytestmark = pytest.mark.skipif(not COUNTER.exists(), reason="needs Linux's byte counter")
PIXELS = np.zeros((200, 128, 128), dtype=np.uint16)  # 6.5 MB
# Three openings of one file, a buffer or two each.
MOST_BYTES = 64 << 10


def bytes_read(work) -> int:
    """Count the bytes of all reading that a call does."""

    def counted() -> int:
        return int(COUNTER.read_text().split("rchar: ")[1].split()[0])

    own = counted()
    own = counted() - own  # what counting itself reads
    start = counted()
    work()
    return counted() - start - own


@pytest.mark.parametrize(
    "syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian, ExplicitVRBigEndian]
)
def test_the_header_of_a_native_loop_takes_no_pixel(write_loop, syntax):
    path = write_loop(PIXELS, syntax=syntax)
    assert bytes_read(lambda: read_header(path)) < MOST_BYTES


def test_the_header_of_a_compressed_loop_takes_no_pixel(write_loop):
    value = encapsulate([bytes(30_000)] * 200)
    path = write_loop(PIXELS, syntax="1.2.840.10008.1.2.4.50", streams=[b"1"], value=value)
    assert path.stat().st_size > 6_000_000
    assert bytes_read(lambda: read_header(path)) < MOST_BYTES


def test_finding_loops_takes_no_more_than_their_marks(write_loop, tmp_path):
    write_loop(PIXELS)
    assert bytes_read(lambda: list(find_loops([tmp_path]))) < MOST_BYTES


@pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_members_of_an_archive_are_listed_without_their_pixels(write_loop, tmp_path, packing):
    pixels = np.random.default_rng(1).integers(0, 65536, PIXELS.shape, dtype=np.uint16)
    loop = write_loop(pixels)
    with zipfile.ZipFile(tmp_path / "study.zip", "w", packing) as target:
        target.write(loop, "loop.dcm")
    found = bytes_read(lambda: [read_header(one) for one in find_loops([tmp_path / "study.zip"])])
    assert found < 2 * MOST_BYTES


def test_the_counter_counts(write_loop):
    path = write_loop(PIXELS)
    assert bytes_read(lambda: open_loop(path).frame(0)) > PIXELS[0].nbytes
    assert bytes_read(path.read_bytes) >= path.stat().st_size
