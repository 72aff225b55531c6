"""Single images of one series as one loop."""

import numpy as np
import pytest

from annot.errors import LoopError
from annot.loops import LoopArray, open_series
from annot.vocabulary import FrameReference

PIXELS = np.random.default_rng(8).integers(0, 4096, (12, 4, 5), dtype=np.uint16)


@pytest.fixture
def write_series(write_loop):
    """Give a function that writes images; each keyword is a value for all or a list, one each."""

    def write(count=4, **attributes):
        paths = []
        for n in range(count):
            own = {
                key: value[n] if isinstance(value, list) else value
                for key, value in attributes.items()
            }
            stated = {"InstanceNumber": n + 1, "SOPInstanceUID": f"1.2.3.{n}", **own}
            path = write_loop(
                PIXELS[n : n + 1], name=f"{n:02}.dcm", NumberOfFrames=None, bits_stored=12, **stated
            )
            paths.append(path)
        return paths

    return write


def test_images_become_frames_in_the_order_of_their_numbers(write_series):
    loop = open_series(write_series(InstanceNumber=[12, 4, 7, 1]))
    assert (loop.shape, loop.dtype, loop.frames) == ((4, 4, 5), np.uint16, 4)
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), PIXELS[[3, 1, 2, 0]])
    np.testing.assert_array_equal(loop.view(0), PIXELS[3])
    assert loop.reference(1) == FrameReference(sop_instance_uid="1.2.3.1", frame=0)
    with pytest.raises(LoopError, match="no frame 4"):
        loop.frame(4)


@pytest.mark.parametrize("numbers", [None, [1, 1, 2, 3]])
def test_times_put_images_in_order_where_numbers_do_not(write_series, numbers):
    moments = [f"19010203120000.{part}" for part in ("300", "100", "200", "000")]
    paths = write_series(InstanceNumber=numbers, AcquisitionDateTime=moments)
    loop = open_series(paths)
    np.testing.assert_array_equal(loop.frame(0), PIXELS[3])
    assert loop.header.frame_times.times_ms == pytest.approx((0, 100, 200, 300))
    assert loop.header.frame_times.source == "AcquisitionDateTime"
    assert "1901" not in repr(loop.header)


def test_a_date_and_a_time_make_a_moment(write_series):
    loop = open_series(
        write_series(
            AcquisitionDate=["19010203", "19010203", "19010204", "19010204"],
            AcquisitionTime=["235959.8", "235959.9", "000000.0", "000000.1"],
        )
    )
    assert loop.header.frame_times.times_ms == pytest.approx((0, 100, 200, 300))
    assert loop.header.frame_times.source == "AcquisitionTime"


def test_times_against_the_order_are_not_used(write_series):
    moments = [f"19010203120000.{part}" for part in ("300", "100", "200", "000")]
    header = open_series(write_series(AcquisitionDateTime=moments)).header
    assert header.frame_times.times_ms is None
    assert any("does not run forward" in one for one in header.warnings)


def test_images_without_any_order_are_refused(write_series):
    with pytest.raises(LoopError, match="neither instance numbers nor acquisition times"):
        open_series(write_series(InstanceNumber=None, AcquisitionDateTime="190102031200"))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"SeriesInstanceUID": ["1.1", "1.1", "1.2", "1.1"]}, "another series"),
        ({"DistanceSourceToDetector": ["1000", "1000", "1100", "1000"]}, "another X-ray geometry"),
        ({"PixelSpacing": [[0.2, 0.2], [0.2, 0.2], [0.3, 0.3], [0.2, 0.2]]}, "X-ray geometry"),
        ({"Modality": ["US", "US", "XA", "US"], "SOPClassUID": "1.2"}, "another modality"),
        ({"SOPInstanceUID": ["1.1", "1.2", "1.1", "1.3"]}, "the same image as another"),
    ],
)
def test_images_that_differ_are_no_loop(write_series, changes, words):
    with pytest.raises(LoopError, match=words) as refused:
        open_series(write_series(**changes))
    assert "02.dcm" in str(refused.value)


def test_a_loop_is_no_image_of_a_series(write_loop):
    with pytest.raises(LoopError, match="is a loop of 3 frames itself"):
        open_series([write_loop()])


def test_no_file_is_no_series():
    with pytest.raises(LoopError, match="at least one file"):
        open_series([])


def test_one_image_is_a_series(write_series):
    assert open_series(write_series(1, InstanceNumber=None)).frames == 1


def test_few_files_stay_open_and_a_replaced_one_is_noticed(write_series):
    paths = write_series(12)
    loop = open_series(paths)
    for n in [*range(12), 3, 11, 0]:
        np.testing.assert_array_equal(loop.frame(n), PIXELS[n])
    assert len(loop._source._open) == 8
    paths[1].write_bytes(paths[2].read_bytes())
    with pytest.raises(LoopError, match=r"01\.dcm holds another image now"):
        loop.frame(1)


@pytest.mark.parametrize(("numbers", "told"), [([1, 2, 4, 5], True), ([3, 4, 5, 6], False)])
def test_a_gap_in_the_numbers_is_told(write_series, numbers, told):
    notes = open_series(write_series(InstanceNumber=numbers)).header.warnings
    assert any("from 2 to 4" in note for note in notes) is told
