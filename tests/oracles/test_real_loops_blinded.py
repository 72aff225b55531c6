"""Real files that packages ship, blinded: the same frames and facts, none of their own texts.

The files come with pydicom (its wheel) and with pydicom-data. What must not be found is gathered by
pydicom alone: every text of four letters or more, every UID of an instance, every date.
"""

import re
import warnings
from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.config import IGNORE
from pydicom.data import get_testdata_file
from pydicom.uid import UID

from annot.exports.blinded_loop import BlindIdentity, Blinding, write_blinded
from annot.exports.deidentification_table import OPTIONS, TABLE
from annot.loops import open_loop, read_header
from annot.reads.blinding import PictureMask, default_mask
from annot.reads.key_file import keyed_uid
from tests.leak_search import held

TEXTS = {"PN", "LO", "SH", "ST", "LT", "UT", "UC", "AE", "DA", "TM", "DT", "UI", "AS"}
LOOPS = [
    *("examples_ybr_color.dcm", "examples_palette.dcm"),
    *("gdcm-US-ALOKA-16.dcm", "examples_rgb_color.dcm", "OBXXXX1A_rle_2frame.dcm"),
]


def shipped(name: str) -> Path:
    path = get_testdata_file(name, download=False)
    assert path is not None, f"{name} is in no installed package"
    return Path(str(path))


def texts_of(path: Path) -> set[str]:
    """Gather what could identify, without what every DICOM file may say."""
    found = set()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for element in pydicom.dcmread(path).iterall():
            if element.VR in TEXTS and element.tag.group != 0x0002:
                values = element.value if element.VM > 1 else [element.value]
                found |= {part for one in values for part in re.split(r"[\^\s]+", str(one))}
    allowed = " ".join((*OPTIONS.values(), *(term for one in TABLE.values() for term in one.terms)))
    return {
        one
        for one in found
        # "0.02" and "1996" are numbers that a header may hold by right
        if len(one) >= (8 if re.fullmatch(r"[\d.]+", one) else 4)
        and one.lower() not in allowed.lower()
        and not UID(one, validation_mode=IGNORE).type
    }


@pytest.mark.parametrize("name", LOOPS)
def test_a_real_loop_keeps_its_frames_and_loses_its_texts(name, tmp_path):
    source, header = shipped(name), read_header(shipped(name))
    mask = default_mask(header)
    if not mask.shown:  # no region, or one of another size of the picture
        mask = PictureMask(shown=((header.rows // 4, 0, header.rows - 1, header.columns - 1),))
    identity = BlindIdentity(code="K7QXW2M", uid_of=lambda uid: keyed_uid("5c" * 32, uid))
    copy = tmp_path / "K7QXW2M.dcm"
    write_blinded(source, copy, blinding=Blinding(identity=identity, mask=mask, looked=True))
    ours, theirs = open_loop(source), open_loop(copy)
    kept = mask.visible(header.rows, header.columns)
    for number in range(ours.frames):
        assert np.array_equal(ours.frame(number)[kept], theirs.frame(number)[kept])
        assert not theirs.frame(number)[~kept].any()
    assert theirs.header.regions == header.regions
    assert theirs.header.frame_times == header.frame_times
    texts = texts_of(source)
    assert texts
    # pixels hold no text of a header; what lies in the file and in its values may
    content = copy.read_bytes()
    assert held(content[: content.index(b"\xe0\x7f\x10\x00")], sorted(texts)) == []
    assert held(content[-400:], sorted(texts)) == []
