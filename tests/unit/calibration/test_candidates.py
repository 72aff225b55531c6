"""Every scale a loop could have, and why the others are none."""

import pytest

from annot.calibration import NoScale, PixelScale, candidate_scales, device_offers, header_scale
from annot.calibration.request import HeaderRequest
from annot.loops import Device
from tests.strategies import echo_header, header, region, view


def listed(its_header) -> dict[str, PixelScale | NoScale]:
    return {one.name: one.scale for one in candidate_scales(its_header)}


def test_the_scale_in_use_by_default_comes_first():
    for changes in (
        {},
        {"pixel_spacing_mm": (0.16, 0.16)},
        {"pixel_spacing_mm": (0.16, 0.16), "calibration_type": "FIDUCIAL"},
        {"object_spacing_mm": (0.14, 0.14)},
    ):
        its_header = header(xray=view(**changes))
        usable = [one for one in candidate_scales(its_header) if isinstance(one.scale, PixelScale)]
        used = header_scale(its_header, HeaderRequest())
        assert isinstance(used, PixelScale)
        assert (usable[0].scale.key, usable[0].scale.row.value) == (used.key, used.row.value)


def test_the_detectors_spacing_is_listed_and_is_no_scale():
    found = listed(header())
    assert isinstance(found["isocentre"], PixelScale)
    assert isinstance(found["detector"], NoScale)
    assert "lies at the detector" in found["detector"].reason


@pytest.mark.parametrize(
    ("changes", "name", "words"),
    [
        (
            {"imager_pixel_spacing_mm": None, "pixel_spacing_mm": (0.2, 0.2)},
            "pixel-spacing",
            "alone",
        ),
        ({"pixel_spacing_mm": (0.2, 0.2)}, "pixel-spacing", "at the detector only"),
        ({"imager_pixel_spacing_mm": None}, "isocentre", "neither PixelSpacing nor"),
        ({"source_to_patient_mm": None}, "isocentre", "neither usable distances"),
    ],
)
def test_what_is_refused_says_why(changes, name, words):
    found = listed(header(xray=view(**changes)))[name]
    assert isinstance(found, NoScale)
    assert words in found.reason


def test_a_header_that_puts_the_source_inside_the_patient_is_listed_and_is_no_scale():
    """One such file must not end the list of a whole folder."""
    found = listed(header(xray=view(source_to_patient_mm=15.0)))["isocentre"]
    assert isinstance(found, NoScale)
    assert "check the distance from source to patient, 15 mm" in found.reason


POLAR = {"units_x": 0xC, "units_y": 3}
STRIP = {"spatial_format": 2, "units_x": 4}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (POLAR, "degrees"),
        (STRIP, "M-mode"),
        ({"spatial_format": 3, "units_x": 4, "units_y": 7}, "spectral"),
        ({"spatial_format": 4, "units_x": 4, "units_y": 0}, "waveform"),
        ({"spatial_format": 5, "units_x": 0, "units_y": 0}, "graphics"),
        ({"units_x": 0, "units_y": 0}, "no unit"),
    ],
)
def test_echo_regions_that_measure_no_lengths_say_what_they_show(changes, words):
    """PS3.3 C.8.5.5.1.1 (spatial format) and C.8.5.5.1.15 (units)."""
    found = listed(echo_header(region(), region(min_y0=410, max_y1=470, **changes)))
    assert isinstance(found["region-1"], PixelScale)
    refused = found["region-2"]
    assert isinstance(refused, NoScale)
    assert words in refused.reason


def test_a_picture_that_is_no_projection_has_no_scale():
    [found] = candidate_scales(header(modality="OT", xray=None, pixel_spacing_mm=(0.2, 0.2)))
    assert isinstance(found.scale, NoScale)
    assert found.stated_mm == (0.2, 0.2)


def test_an_echo_without_regions_says_so():
    [found] = candidate_scales(echo_header())
    assert isinstance(found.scale, NoScale)
    assert "no ultrasound regions" in found.scale.reason


# ---------------------------------------------------------------- devices on offer
SPHERE = {"code": "122485", "scheme": "DCM", "meaning": "Sphere"}
CATHETER = {"code": "19923001", "scheme": "SCT", "meaning": "Catheter"}
RULER = {"code": "102304005", "scheme": "SCT", "meaning": "Measuring ruler"}


def offers(**changes: object):
    return device_offers(header(devices=(Device(**changes),)))


@pytest.mark.parametrize(
    ("device", "expected"),
    [
        ({**SPHERE, "diameter_mm": 10.0, "diameter_stated": "10 MM"}, [("sphere", 10.0)]),
        ({**CATHETER, "diameter_mm": 2.0, "diameter_stated": "6 FR"}, [("catheter", 2.0)]),
        ({**CATHETER, "length_mm": 1100.0}, []),  # nobody sees all of it in a picture
        ({**CATHETER, "inter_marker_mm": 10.0}, [("markers", 10.0)]),
        (
            {**CATHETER, "diameter_mm": 2.0, "inter_marker_mm": 10.0},
            [("markers", 10.0), ("catheter", 2.0)],
        ),
        ({**RULER, "length_mm": 50.0}, [("segment", 50.0)]),
        ({"code": "1", "scheme": "99X", "diameter_mm": 2.0}, []),
        ({**CATHETER}, []),
    ],
)
def test_devices_of_known_kind_and_size_are_offered(device, expected):
    """PS3.3 C.7.6.12; codes of CID 8 and CID 3451."""
    assert [(one.kind, one.size_mm) for one in offers(**device)] == expected


def test_an_offer_says_where_its_size_comes_from_and_asks_for_a_check():
    [offer] = offers(**CATHETER, diameter_mm=2.0, diameter_stated="6 FR")
    assert offer.words == (
        "the header names a catheter of 2 mm (Catheter, Device Diameter 6 FR): check its size and "
        "trace it to use it"
    )
    assert offer.facts()["size_mm"] == 2.0


@pytest.mark.parametrize(("flag", "frames"), [(True, ()), (None, (3, 4)), (False, ()), (None, ())])
def test_an_offer_says_whether_the_picture_was_used_to_calibrate(flag, frames):
    """Calibration Image (0050,0004): of the whole loop, or of single frames (C.8.19.6.6)."""
    its_header = header(
        xray=view(calibration_image=flag, calibration_frames=frames),
        devices=(Device(**SPHERE, diameter_mm=10.0),),
    )
    [offer] = device_offers(its_header)
    assert offer.was_calibrated_on == (True if frames else flag)
    assert ("was used to calibrate" in offer.words) == bool(flag or frames)
    assert offer.frames == frames


def test_an_offer_is_never_a_scale():
    its_header = header(
        xray=view(imager_pixel_spacing_mm=None), devices=(Device(**SPHERE, diameter_mm=10.0),)
    )
    assert not any(isinstance(one.scale, PixelScale) for one in candidate_scales(its_header))
