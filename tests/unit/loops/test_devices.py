"""Devices named in a header (PS3.3 C.7.6.12, Device module) and the system that made the loop."""

import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from annot.loops import Device, read_header

CATHETER = {
    "CodeValue": "19923001",
    "CodingSchemeDesignator": "SCT",
    "CodeMeaning": "Catheter",
    "DeviceDescription": "HIDDEN^NAME",
}


def item(**attributes: object) -> Dataset:
    dataset = Dataset()
    for keyword, value in {**CATHETER, **attributes}.items():
        if value is not None:
            setattr(dataset, keyword, value)
    return dataset


def device_of(write_loop, **attributes):
    header = read_header(write_loop(DeviceSequence=Sequence([item(**attributes)])))
    return header.devices[0], header.warnings


@pytest.mark.parametrize(
    ("value", "units", "mm"),
    [(6, "FR", 2.0), (12, "FR", 4.0), (2.5, "MM", 2.5), (0.1, "IN", 2.54)],
)
def test_a_diameter_is_brought_to_mm_by_its_unit(write_loop, value, units, mm):
    """1 Fr = 1/3 mm (common practice, no source); 1 inch = 25.4 mm by definition."""
    device, warnings = device_of(write_loop, DeviceDiameter=value, DeviceDiameterUnits=units)
    assert device.diameter_mm == pytest.approx(mm)
    assert device.diameter_stated == f"{value:g} {units}"
    assert warnings == ()


@pytest.mark.parametrize(
    ("units", "words"),
    [
        ("GA", "DeviceDiameter is in gauge"),
        (None, "DeviceDiameter has no usable unit"),
        ("CM", "DeviceDiameterUnits is none of FR, IN, MM, GA"),
    ],
)
def test_a_diameter_without_a_formula_is_no_size(write_loop, units, words):
    device, warnings = device_of(write_loop, DeviceDiameter=6, DeviceDiameterUnits=units)
    assert device.diameter_mm is None
    assert any(words in one for one in warnings)


def test_length_and_marker_distance_are_in_mm_already(write_loop):
    device, warnings = device_of(write_loop, DeviceLength=1100, InterMarkerDistance=10)
    assert (device.length_mm, device.inter_marker_mm) == (1100, 10)
    assert (device.code, device.scheme, device.meaning) == ("19923001", "SCT", "Catheter")
    assert warnings == ()


def test_the_free_text_of_a_device_is_left_alone(write_loop):
    header = read_header(write_loop(DeviceSequence=Sequence([item()])))
    assert "HIDDEN" not in repr(header)


def test_a_loop_without_the_module_has_no_devices(write_loop):
    assert read_header(write_loop()).devices == ()
    assert read_header(write_loop(DeviceSequence=Sequence([]))).devices == ()


@pytest.mark.parametrize("diameter", [-2, 0])
def test_a_faulty_diameter_is_said_and_no_size(write_loop, diameter):
    device, warnings = device_of(
        write_loop, DeviceDiameter=diameter, DeviceDiameterUnits="MM", DeviceLength=1
    )
    assert device == Device(code="19923001", scheme="SCT", meaning="Catheter", length_mm=1.0)
    assert any("DeviceDiameter is" in one and "not used" in one for one in warnings)


MADE_BY = {
    "Manufacturer": "MAKER",
    "ManufacturerModelName": "MODEL",
    "DeviceSerialNumber": "SERIAL-77",
    "SoftwareVersions": ["A", "1.2"],
}


def system(write_loop, **changes) -> str:
    return read_header(write_loop(**{**MADE_BY, **changes})).system


def test_two_loops_of_one_system_know_each_other_across_studies(write_loop):
    assert system(write_loop) == system(write_loop, StudyInstanceUID="1.2.3", SOPInstanceUID="1.4")


@pytest.mark.parametrize("keyword", sorted(MADE_BY))
def test_another_maker_model_serial_or_software_is_another_system(write_loop, keyword):
    assert system(write_loop, **{keyword: "OTHER"}) != system(write_loop)


def test_without_a_serial_number_a_system_is_known_within_its_study_only(write_loop):
    """De-identified files keep maker and model and lose the serial number (PS3.15 E.1)."""
    bare = {"DeviceSerialNumber": None}
    assert system(write_loop, **bare) == system(write_loop, **bare, SOPInstanceUID="1.4")
    assert system(write_loop, **bare) != system(write_loop, **bare, StudyInstanceUID="1.2.3")


def test_nothing_known_is_nobody(write_loop):
    nothing = dict.fromkeys(MADE_BY) | {"StudyInstanceUID": None}
    assert system(write_loop, **nothing) == ""


def test_a_system_is_a_pseudonym(write_loop):
    header = read_header(write_loop(**MADE_BY))
    assert len(header.system) == 8
    assert not any(name in repr(header) for name in ("MAKER", "MODEL", "SERIAL"))
