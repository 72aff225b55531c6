"""Frame times: the rules of PS3.3 C.7.6.5 and what files do to them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.loops import read_header
from annot.loops.timing import StatedTiming, frame_times

steps = st.floats(min_value=1.0, max_value=500.0)


@given(step=steps, frames=st.integers(1, 300))
def test_a_constant_frame_time_counts_from_zero(step, frames):
    times, warnings = frame_times(StatedTiming(frames=frames, frame_time_ms=step))
    assert times.source == "FrameTime"
    assert times.times_ms is not None
    assert len(times.times_ms) == frames
    assert times.times_ms[0] == 0
    assert times.times_ms[-1] == pytest.approx((frames - 1) * step)
    assert warnings == ()


@given(increments=st.lists(steps, min_size=1, max_size=60))
def test_a_vector_holds_increments_from_the_previous_frame(increments):
    stated = StatedTiming(frames=len(increments) + 1, increments_ms=[0.0, *increments])
    times, warnings = frame_times(stated)
    assert times.source == "FrameTimeVector"
    assert times.times_ms is not None
    assert times.times_ms[0] == 0
    for n, increment in enumerate(increments):
        assert times.times_ms[n + 1] - times.times_ms[n] == pytest.approx(increment)
    assert warnings == ()


@given(
    frames=st.integers(1, 40),
    increments=st.none() | st.lists(st.floats(-1e308, 1e308), max_size=45),
    frame_time=st.none() | st.floats(-1e308, 1e308),
    rate=st.none() | st.floats(-5, 120),
    pointer=st.sampled_from([None, "FrameTime", "FrameTimeVector"]),
)
def test_whatever_is_stated_times_never_run_backwards(
    frames, increments, frame_time, rate, pointer
):
    stated = StatedTiming(
        frames=frames,
        increments_ms=increments,
        frame_time_ms=frame_time,
        pointer=pointer,
        cine_rate=rate,
    )
    times, warnings = frame_times(stated)
    assert all(sentence.endswith(".") for sentence in warnings)
    if times.times_ms is None:
        assert times.source == "none"
    else:
        assert len(times.times_ms) == frames
        assert times.times_ms[0] == 0
        assert list(times.times_ms) == sorted(times.times_ms)


@pytest.mark.parametrize(
    ("stated", "source", "words"),
    [
        ({"FrameTimeVector": [0, 40]}, "none", "2 values for 3 frames and is not used"),
        ({"FrameTimeVector": [0, 40], "FrameTime": 33}, "FrameTime", "both present"),
        ({"FrameTimeVector": [0, 40, 41, 42]}, "FrameTimeVector", "the surplus"),
        ({"FrameTimeVector": [0, 40, -1]}, "none", "forward in time"),
        ({"FrameTimeVector": [0, 0, 0]}, "none", "forward in time"),
        ({"FrameTimeVector": ["0", "1e308", "1e308"]}, "none", "forward in time"),
        ({"FrameTimeVector": [5, 40, 41]}, "FrameTimeVector", "does not start at 0"),
        ({"FrameTimeVector": [0, 40, 0]}, "FrameTimeVector", "same time"),
        ({"FrameTimeVector": b"0\\forty\\40"}, "none", "'forty'"),
        ({"FrameTime": 0}, "none", "FrameTime is 0 ms"),
        ({"FrameTime": -33}, "none", "FrameTime is -33 ms"),
        ({"FrameTime": 0.033}, "none", "perhaps another unit"),
        ({"FrameTime": 40_000}, "none", "perhaps another unit"),
        ({"FrameTime": b"nan"}, "none", "'nan'"),
        ({"FrameTime": b"fast"}, "none", "'fast', which is not a number"),
        ({"CineRate": 25}, "CineRate", "CineRate, a whole number for play-back"),
        ({"CineRate": 0, "RecommendedDisplayFrameRate": 10}, "RecommendedDisplayFrameRate", "is 0"),
        ({"FrameIncrementPointer": 0x00181063}, "none", "names FrameTime, which is absent"),
    ],
)
def test_faults_become_sentences(write_loop, stated, source, words):
    header = read_header(write_loop(**stated))
    assert header.frame_times.source == source
    assert any(words in sentence for sentence in header.warnings), header.warnings


def test_the_pointer_decides_between_two_statements(write_loop):
    both = {"FrameTimeVector": [0, 40, 50], "FrameTime": 33}
    header = read_header(write_loop(**both, FrameIncrementPointer=0x00181063))
    assert header.frame_times.times_ms == (0, 33, 66)
    header = read_header(write_loop(**both, FrameIncrementPointer=0x00181065))
    assert header.frame_times.times_ms == (0, 40, 90)
    header = read_header(write_loop(**both))
    assert header.frame_times.source == "FrameTimeVector"


def test_frame_delay_does_not_shift_the_zero(write_loop):
    header = read_header(write_loop(FrameTime=40, FrameDelay=1000))
    assert header.frame_times.times_ms == (0, 40, 80)


def test_a_rate_is_a_last_resort(write_loop):
    header = read_header(write_loop(CineRate=25))
    assert header.frame_times.times_ms == (0, 40, 80)
    header = read_header(write_loop(FrameTime=50, CineRate=25))
    assert header.frame_times.times_ms == (0, 50, 100)
    assert header.warnings == ()


def test_r_waves_share_the_zero_of_the_frames(write_loop):
    header = read_header(write_loop(FrameTime=40, RWaveTimeVector=[12.5, 800.0]))
    assert header.r_wave_times_ms == (12.5, 800.0)


def test_r_waves_out_of_order_are_sorted_and_noted(write_loop):
    header = read_header(write_loop(FrameTime=40, RWaveTimeVector=[800.0, 12.5]))
    assert header.r_wave_times_ms == (12.5, 800.0)
    assert any("not in order" in sentence for sentence in header.warnings)


def test_r_wave_frames_without_frame_times_say_nothing(write_loop):
    assert read_header(write_loop(RWavePointer=[1, 3])).r_wave_times_ms == ()


def test_r_wave_frames_become_times(write_loop):
    header = read_header(write_loop(FrameTime=40, RWavePointer=[1, 3, 9]))
    assert header.r_wave_times_ms == (0, 80)
    assert any("outside 1 to 3" in sentence for sentence in header.warnings)


@pytest.mark.parametrize(("stated", "rate"), [(72, 72), (0, None), (None, None)])
def test_a_heart_rate_of_zero_is_unknown(write_loop, stated, rate):
    header = read_header(write_loop(HeartRate=stated))
    assert header.heart_rate == rate
    assert any("HeartRate" in sentence for sentence in header.warnings) == (stated == 0)


@pytest.mark.parametrize(
    ("stated", "waves"),
    [
        ({"RWaveTimeVector": [12.5, 12.5, 800.0, 800.0]}, (12.5, 800.0)),
        ({"RWavePointer": [1, 3, 3]}, (0, 80)),
    ],
)
def test_an_r_wave_that_is_stated_twice_counts_once(write_loop, stated, waves):
    header = read_header(write_loop(FrameTime=40, **stated))
    assert header.r_wave_times_ms == waves
    assert any("more than once" in sentence for sentence in header.warnings)
