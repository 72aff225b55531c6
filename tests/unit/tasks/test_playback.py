"""Beats of a loop, and which frames of two loops go together."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.loops import FrameTimes, LoopHeader, read_header
from annot.tasks.playback import Span, beat_around, linked_frame, r_wave_beside, r_wave_frames
from synthetic_dicom import write_case

STEP_MS = 40.0


@pytest.fixture(scope="module")
def like(tmp_path_factory) -> LoopHeader:
    return read_header(write_case("us_045", tmp_path_factory.mktemp("loop"), frames=2).path)


def loop_of(like, waves, *, frames=50, step_ms=STEP_MS):
    times = tuple(step_ms * frame for frame in range(frames))
    return replace(
        like,
        frames=frames,
        frame_times=FrameTimes(times_ms=times, source="FrameTime"),
        r_wave_times_ms=tuple(waves),
    )


def test_the_frame_of_an_r_wave_is_the_nearest_one(like):
    assert r_wave_frames(loop_of(like, (95.0, 885.0, 1701.0))) == (2, 22, 43)
    assert r_wave_frames(loop_of(like, ())) == ()


def test_r_waves_are_reached_both_ways_and_round_the_end(like):
    header = loop_of(like, (80.0, 880.0, 1680.0))
    assert [r_wave_beside(header, frame, forward=True) for frame in (0, 2, 22, 42)] == [
        2,
        22,
        42,
        2,
    ]
    assert [r_wave_beside(header, frame, forward=False) for frame in (0, 2, 23, 42)] == [
        42, 42, 22, 22,
    ]  # fmt: skip
    assert r_wave_beside(loop_of(like, ()), 3, forward=True) is None


def test_a_beat_runs_from_r_wave_to_r_wave_and_is_cut_by_the_loop(like):
    header = loop_of(like, (100.0, 900.0, 1700.0))
    assert beat_around(header, 10) == Span(start_ms=100.0, end_ms=900.0)
    assert beat_around(header, 0) == Span(start_ms=0.0, end_ms=100.0)
    assert beat_around(header, 49) == Span(start_ms=1700.0, end_ms=2000.0)
    assert beat_around(loop_of(like, ()), 10) is None


def test_standing_on_an_r_wave_is_the_beat_that_begins_there(like):
    header = loop_of(like, (95.0, 885.0, 1701.0))  # frame 22 comes on at 880 ms
    assert beat_around(header, 22) == Span(start_ms=885.0, end_ms=1701.0)


def test_waves_that_run_backwards_or_lie_outside_are_no_beats(like):
    assert r_wave_frames(loop_of(like, (900.0, 100.0))) == ()
    assert r_wave_frames(loop_of(like, (-50.0, 880.0, 5000.0))) == (22,)


def test_linked_by_r_wave_the_same_part_of_the_beat_is_shown(like):
    # beats of 800 ms beside beats of 400 ms: half-way is 400 ms here, 200 ms there
    here = loop_of(like, (0.0, 800.0, 1600.0))
    there = loop_of(like, (40.0, 440.0, 840.0))
    linked = linked_frame(here, 10, there)
    assert (linked.by, linked.percent) == ("r_wave", 50.0)
    assert linked.frame == 6  # 40 + 200 ms
    assert linked_frame(here, 30, there).frame == 16  # second beat, half-way


def test_a_loop_with_fewer_beats_gives_them_in_turn(like):
    here = loop_of(like, (0.0, 400.0, 800.0, 1200.0, 1600.0))
    there = loop_of(like, (0.0, 800.0, 1600.0))
    shown = [linked_frame(here, frame, there).frame for frame in (5, 15, 25, 35)]
    assert shown == [10, 30, 10, 30]


def test_before_the_first_and_after_the_last_r_wave_time_counts_from_it(like):
    here = loop_of(like, (200.0, 1000.0))
    there = loop_of(like, (120.0, 920.0))
    assert linked_frame(here, 2, there).frame == 0  # 120 ms before
    assert linked_frame(here, 30, there).frame == 8  # 200 ms after, in the only whole beat
    assert linked_frame(here, 30, there).percent is None


def test_without_r_waves_time_links_and_says_so(like):
    here, there = loop_of(like, ()), loop_of(like, (0.0, 800.0), frames=20, step_ms=50.0)
    linked = linked_frame(here, 10, there)
    assert (linked.frame, linked.by) == (8, "time")
    assert linked_frame(here, 49, there).frame == 19, "the shorter waits at its end"
    assert linked_frame(there, 10, there, by="time").frame == 10


@given(
    waves=st.lists(st.integers(5, 60), min_size=1, max_size=6),
    others=st.lists(st.integers(5, 60), min_size=1, max_size=6),
    frame=st.integers(0, 199),
)
def test_a_linked_frame_always_exists_and_a_loop_goes_with_itself(like, waves, others, frame):
    def summed(steps):
        return [STEP_MS * sum(steps[: place + 1]) for place in range(len(steps))]

    here = loop_of(like, summed(waves), frames=200)
    there = loop_of(like, summed(others), frames=90)
    assert 0 <= linked_frame(here, frame, there).frame < 90
    inside = len(waves) > 1 and frame < r_wave_frames(here)[-1]
    if inside:
        assert linked_frame(here, frame, here).frame == frame


def test_linked_frames_never_run_back_within_a_beat(like):
    here, there = loop_of(like, (0.0, 800.0)), loop_of(like, (40.0, 1240.0))
    frames = [linked_frame(here, frame, there).frame for frame in range(20)]
    assert all(later >= earlier for earlier, later in pairwise(frames))
