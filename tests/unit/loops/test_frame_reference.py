"""Frames count from 0 here and from 1 in DICOM; errors carry their sentence."""

import pytest

from annot.errors import AnnotError, InputError, LoopError
from annot.vocabulary.frames import FrameReference


def test_dicom_counts_from_one():
    assert FrameReference(sop_instance_uid="1.2", frame=0).dicom_frame == 1
    assert FrameReference(sop_instance_uid="1.2", frame=11).dicom_frame == 12


def test_a_negative_frame_is_refused():
    with pytest.raises(InputError, match="Frame -1 does not exist"):
        FrameReference(sop_instance_uid="1.2", frame=-1)


@pytest.mark.parametrize("kind", [LoopError, InputError])
def test_every_error_belongs_to_one_family_and_keeps_its_sentence(kind):
    error = kind("A sentence.")
    assert isinstance(error, AnnotError)
    assert error.message == str(error) == "A sentence."
