"""A folder of single images as one loop, and folders that are none."""

import numpy as np
import pytest

from annot.errors import LoopError
from annot.loops import ecg_from_waveform, open_folder, open_loop
from annot.vocabulary import FrameReference

PIXELS = np.arange(3 * 4 * 5, dtype=np.uint16).reshape(3, 4, 5)


@pytest.fixture
def write_images(write_loop, tmp_path):
    """Give a function that writes three images into a folder; a list gives each its own value."""

    def write(**attributes):
        (tmp_path / "run").mkdir(exist_ok=True)
        for n in range(3):
            own = {
                key: value[n] if isinstance(value, list) else value
                for key, value in attributes.items()
            }
            # The names run against the numbers: the order of names must not count.
            stated = {"InstanceNumber": n + 1, "SOPInstanceUID": f"1.2.3.{n}", **own}
            write_loop(PIXELS[n : n + 1], name=f"run/{9 - n}.dcm", NumberOfFrames=None, **stated)
        return tmp_path / "run"

    return write


def test_a_folder_opens_as_the_loop_that_its_files_are(write_images):
    folder = write_images(AcquisitionDateTime=[f"20010203120000.{n}" for n in range(3)])
    (folder / "notes.txt").write_text("no DICOM")
    (folder / "below").mkdir()
    loop = open_folder(folder)
    for n in range(3):
        np.testing.assert_array_equal(loop.frame(n), PIXELS[n])
        assert loop.reference(n) == FrameReference(sop_instance_uid=f"1.2.3.{n}", frame=0)
        assert loop.header.frame_of(loop.reference(n)) == n
    assert loop.header.path == folder
    assert loop.header.frame_times.times_ms == pytest.approx((0, 100, 200))


def test_a_frame_of_a_file_of_many_is_found_by_its_number(write_loop):
    header = open_loop(write_loop()).header
    assert [header.frame_of(header.reference(n)) for n in range(3)] == [0, 1, 2]
    assert header.images == ()


def test_images_without_times_may_be_stills_and_say_so(write_images):
    assert any("not stills" in note for note in open_folder(write_images()).header.warnings)


@pytest.mark.parametrize(
    ("attributes", "words"),
    [
        ({"SeriesInstanceUID": ["1.1", "1.1", "1.2"]}, "another series"),
        ({"AcquisitionDateTime": [f"2001020312{n:02}00.0" for n in range(3)]}, "up to 60 s apart"),
        (
            {"ImagePositionPatient": [[0.0, 0.0, float(n)] for n in range(3)]},
            "shows another slice",
        ),
    ],
)
def test_a_folder_of_other_things_is_no_loop(write_images, attributes, words):
    with pytest.raises(LoopError, match=words) as refused:
        open_folder(write_images(**attributes))
    assert str(refused.value).startswith("run does not open as one loop: ")


def test_a_folder_without_images_is_no_loop(tmp_path):
    with pytest.raises(LoopError, match="holds no DICOM file itself"):
        open_folder(tmp_path)


def test_a_folder_asked_for_an_ecg_looks_at_its_first_image(write_images, write_loop):
    loop = open_folder(write_images())
    trace, [note] = ecg_from_waveform(write_loop(AcquisitionTimeSynchronized="Y"), loop.header)
    assert trace is None
    assert "the loop does not say that it was acquired synchronized" in note
    for file in loop.header.path.iterdir():
        file.unlink()
    with pytest.raises(LoopError, match="first image no more"):
        ecg_from_waveform(write_loop(), loop.header)
