"""`annot scale` and `annot loops` where a loop has several scales or names a device."""

import json

import pytest
import typer
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from annot.cli.scale_fields import frame_numbers
from synthetic_dicom import write_case
from tests.unit.cli.test_commands import assert_one_line_fault, run


@pytest.fixture(scope="module")
def loop(tmp_path_factory):
    """Give an angiography loop that names a catheter and a second, calibrated spacing."""
    made = write_case("xa_clean", tmp_path_factory.mktemp("loops"), frames=2)
    ds = dcmread(made.path)
    device = Dataset()
    device.CodeValue, device.CodingSchemeDesignator = "19923001", "SCT"
    device.CodeMeaning = "Catheter"
    device.DeviceDiameter, device.DeviceDiameterUnits = 6, "FR"
    ds.DeviceSequence = Sequence([device])
    ds.CalibrationImage = "YES"
    ds.PixelSpacing, ds.PixelSpacingCalibrationType = [0.165, 0.165], "FIDUCIAL"
    ds.PixelSpacingCalibrationDescription = "catheter"
    ds.DeviceSerialNumber = "1"
    path = made.path.with_name("named.dcm")
    ds.save_as(path, enforce_file_format=True)
    return path


def test_json_has_the_others_with_their_normalised_errors(loop):
    answer = json.loads(run("scale", loop, "--given", "0.166", "--u-rel", "0.01", "--json").stdout)
    kinds = {"kind", "scale_id", "basis", "mm_per_px", "u_rel", "e_n", "verdict"}
    assert [set(one) for one in answer["others"]] == [kinds, kinds]
    assert [one["mm_per_px"] for one in answer["others"]] == pytest.approx(
        [0.165, 0.23 * 750 / 1040]
    )
    assert all(abs(one["e_n"]) < 1 for one in answer["others"])
    assert answer["why_this_one"] == "a given one was asked for"
    assert answer["refused"][0]["reason"] == "lies at the detector, not in the patient"
    [offer] = answer["offers"]
    assert (offer["kind"], offer["size_mm"], offer["was_calibrated_on"]) == (
        "catheter",
        pytest.approx(2.0),
        True,
    )


def test_a_person_reads_which_scale_is_used_and_why(loop):
    shown = run("scale", loop, "--header").stdout
    assert "PixelSpacing calibrated on an object (FIDUCIAL)" in shown
    assert "because the header's was asked for" in shown
    assert "they agree within their uncertainties" in shown
    assert "No scale: ImagerPixelSpacing, as stored" in shown
    assert "On offer: the header names a catheter of 2 mm" in shown


def test_a_blunder_shows_against_the_header(loop):
    shown = run("scale", loop, "--given", "0.2", "--u-rel", "0.005").stdout
    assert "they differ by more than their uncertainties allow" in shown
    assert "warning: the scale is +" in shown


def test_a_list_names_the_device_on_offer(loop):
    assert "on offer: catheter of 2 mm" in run("loops", loop).stdout
    [facts] = [json.loads(line) for line in run("loops", loop, "--json").stdout.splitlines()]
    assert facts["devices"][0]["kind"] == "catheter"


def test_depth_to_one_side_moves_the_scale(loop):
    words = ("scale", loop, "--header", "--json")
    plain = json.loads(run(*words, "--depth-offset", "20").stdout)
    ranged = json.loads(run(*words, "--depth-range=20,60").stdout)
    assert ranged["mm_per_px_row"] / plain["mm_per_px_row"] == pytest.approx(710 / 750)
    preset = json.loads(run(*words, "--depth-preset", "other-chamber").stdout)
    assert preset["u_rel"] > plain["u_rel"]
    assert any("depth by the preset 'other-chamber'" in one for one in preset["warnings"])


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--depth-offset", "20", "--depth-preset", "beside"), ("two ways",)),
        (("--depth-range=60,20",), ("runs backwards",)),
        (("--frame", "9"), ("frame 9", "frames 0 to 1")),
    ],
)
def test_what_cannot_be_is_one_line(loop, words, parts):
    assert_one_line_fault(run("scale", loop, "--header", *words), *parts)


def test_a_range_that_is_none_is_wrong_usage(loop):
    done = run("scale", loop, "--header", "--depth-range", "20")
    assert done.returncode == 2
    assert "two numbers with a comma" in done.stderr


def test_more_frames_than_any_loop_has_are_wrong_usage():
    """A list of them would fill the memory before the loop is opened."""
    with pytest.raises(typer.BadParameter, match="100000000000000000000 frames; 1000"):
        frame_numbers(None, "0:100000000000000000000")
    assert frame_numbers(None, "3:6") == [3, 4, 5]
