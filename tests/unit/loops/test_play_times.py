"""How long frames stay on: by the standard's cine attributes, and what is assumed without them."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.loops import FrameTimes, LoopHeader, PlayTimes, play_times, read_header
from synthetic_dicom import write_case


@pytest.fixture(scope="module")
def header(tmp_path_factory) -> LoopHeader:
    return read_header(write_case("xa_clean", tmp_path_factory.mktemp("loop"), frames=4).path)


def timed(header, times, source="FrameTimeVector"):
    frames = len(times) if times else header.frames
    stated = FrameTimes(times_ms=times, source=source)
    return play_times(replace(header, frames=frames, frame_times=stated))


def test_a_steady_loop_lasts_frames_times_its_frame_time(header):
    # PS3.3 C.7.6.5.1.1: FrameTime is the nominal time per frame
    times = timed(header, (0.0, 40.0, 80.0, 120.0), source="FrameTime")
    assert times.duration_ms == 160.0
    assert times.frame_ms == 40.0
    assert times.stated


def test_an_uneven_loop_keeps_its_own_times_and_ends_on_the_median_step(header):
    times = timed(header, (0.0, 30.0, 90.0, 120.0))
    assert times.starts_ms == (0.0, 30.0, 90.0, 120.0)
    assert times.duration_ms == 150.0
    assert [times.frame_at(at) for at in (-1, 0, 29.9, 30, 89, 90, 119, 120, 500)] == [
        0, 0, 0, 1, 1, 2, 2, 3, 3,
    ]  # fmt: skip


def test_times_count_from_the_first_frame(header):
    assert timed(header, (500.0, 540.0, 580.0)).starts_ms == (0.0, 40.0, 80.0)


def test_a_file_without_a_rate_is_played_at_an_assumed_one_that_says_so(header):
    times = timed(header, None, source="none")
    assert times.source == "assumed"
    assert not times.stated
    assert times.duration_ms == pytest.approx(4 * 1000 / 15)


def test_a_single_image_has_one_frame_that_is_always_on(header):
    times = timed(header, (0.0,))
    assert (times.frames, times.frame_at(1e9), times.nearest(-5.0)) == (1, 0, 0)
    assert times.frame_ms == times.duration_ms > 0


def test_two_frames_of_one_time_are_one_moment(header):
    times = timed(header, (0.0, 40.0, 40.0, 80.0))
    assert times.frame_at(40.0) == 2
    assert times.duration_ms == 120.0


STEPS = st.lists(st.floats(1, 200), min_size=1, max_size=30)


@given(steps=STEPS, share=st.floats(0, 0.999))
def test_every_moment_shows_the_frame_that_has_come_on_last(steps, share):
    starts = [0.0]
    for step in steps:
        starts.append(starts[-1] + step)
    times = PlayTimes(starts_ms=tuple(starts), duration_ms=starts[-1] + 40.0, source="x")
    moment = share * times.duration_ms
    frame = times.frame_at(moment)
    assert times.starts_ms[frame] <= moment
    assert frame == len(starts) - 1 or moment < times.starts_ms[frame + 1]
    gaps = [abs(start - moment) for start in starts]
    assert gaps[times.nearest(moment)] == min(gaps)
