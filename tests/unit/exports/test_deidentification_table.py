"""The allow-list against the standard's dictionary and against PS3.15 Table E.1-1.

`ps3_15_e1_1.csv` holds tag and basic-profile action of every row of Table E.1-1, edition 2024e.
"""

import csv
from pathlib import Path

import pytest
from pydicom.datadict import dictionary_VR, tag_for_keyword
from pydicom.sr.codedict import codes
from pydicom.uid import UID

from annot.exports.deidentification_table import (
    DEVICE_CODES,
    DUMMIES,
    MOMENTS,
    OPTIONS,
    OTHER_DEVICE,
    TABLE,
)

NUMBERS = {"AT", "DS", "FD", "FL", "IS", "SL", "SS", "UL", "US", "US or SS"}
VRS = {
    "number": NUMBERS,
    "term": {"CS", "LO"},
    "sequence": {"SQ"},
    "moment": {"DT"},
    "table": {"US or OW"},
    "class": {"UI"},
    "uid": {"UI"},
}


def profile() -> dict[int, str]:
    path = Path(__file__).parent / "ps3_15_e1_1.csv"
    with path.open(newline="") as stream:
        return {int(row["tag"], 16): row["basic"] for row in csv.DictReader(stream)}


@pytest.mark.parametrize("keyword", sorted([*TABLE, *DUMMIES]))
def test_every_attribute_is_in_the_dictionary(keyword):
    assert tag_for_keyword(keyword) is not None


@pytest.mark.parametrize(("keyword", "rule"), sorted(TABLE.items()), ids=str)
def test_no_attribute_of_free_text_keeps_its_value(keyword, rule):
    """Text, names, dates and identifiers are emptied or invented; what stays has a closed form."""
    if rule.form == "text":
        assert rule.action in {"Z", "D"}
    else:
        assert dictionary_VR(tag_for_keyword(keyword)) in VRS[rule.form]


@pytest.mark.parametrize(("keyword", "rule"), sorted(TABLE.items()), ids=str)
def test_nothing_stays_that_the_profile_takes_out(keyword, rule):
    """What Table E.1-1 lists is emptied, invented or made anew here, too."""
    action = profile().get(tag_for_keyword(keyword), "")
    if not action:
        return
    if keyword == "ReferencedImageSequence":
        assert action == "X/Z/U*"  # kept with new UIDs inside
        return
    assert rule.action in {"U", "Z", "D"}
    assert rule.action == "U" if action == "U" else rule.action in {"Z", "D"}


def test_the_profile_is_whole():
    assert len(profile()) > 500
    assert profile()[0x00100010] == "Z"


def test_every_term_fits_a_code_string():
    for rule in TABLE.values():
        assert bool(rule.terms) == (rule.form == "term")
        assert all(len(one) <= 16 and one == one.upper() for one in rule.terms)


def test_the_moments_are_the_profiles_dates_of_frames():
    assert {"FrameAcquisitionDateTime", "FrameReferenceDateTime"} == MOMENTS


def test_codes_mean_what_the_standard_says():
    """PS3.16 CID 7050 and the kinds of devices, by pydicom's code dictionary."""
    for name in (
        "BasicApplicationConfidentialityProfile",
        "CleanPixelDataOption",
        "RetainLongitudinalTemporalInformationModifiedDatesOption",
    ):
        code = getattr(codes.DCM, name)
        assert OPTIONS[code.value] == code.meaning
    assert DEVICE_CODES[codes.SCT.Catheter.value, "SCT"] == codes.SCT.Catheter.meaning
    assert DEVICE_CODES[codes.DCM.Sphere.value, "DCM"] == codes.DCM.Sphere.meaning
    assert (codes.SCT.PhysicalObject.value, "SCT") == OTHER_DEVICE
    assert UID("1.2.840.10008.5.1.4.1.1.12.1").type == "SOP Class"
