"""The scheduler of playback, by a clock that the test turns."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.tasks.playback import PlayTimes, Span
from napari_annot.player import Player


class Clock:
    def __init__(self):
        self.ms = 1000.0

    def __call__(self):
        return self.ms


@pytest.fixture
def clock():
    return Clock()


def steady(frames, step_ms):
    starts = tuple(step_ms * frame for frame in range(frames))
    return PlayTimes(starts_ms=starts, duration_ms=frames * step_ms, source="FrameTime")


def loaded(clock, times):
    player = Player(clock)
    player.load(times)
    return player


def run(player, clock, *, draw_ms, until_ms):
    """Play as the window does: show what is due, pay for it, wait for the next; log it."""
    player.play(0)
    log, end = [], clock.ms + until_ms
    last = None
    while clock.ms < end:
        due = player.due()
        if due.frame != last:
            log.append((clock.ms, due.frame))
            last = due.frame
            clock.ms += draw_ms
            player.drawn(draw_ms)
        clock.ms += max(player.due().wait_ms, 0.01)
    return log


def rounds(log):
    """Return when each round began, from the second on."""
    pairs = pairwise(log)
    return [now for (_, before), (now, frame) in pairs if frame < before]


@pytest.mark.parametrize(
    ("step_ms", "draw_ms"), [(66.7, 5), (66.7, 60), (33.3, 45), (33.3, 95), (40, 39.9), (16.7, 70)]
)
def test_the_stored_duration_holds_whatever_drawing_costs(clock, step_ms, draw_ms):
    times = steady(60, step_ms)
    log = run(loaded(clock, times), clock, draw_ms=draw_ms, until_ms=6 * times.duration_ms)
    begins = rounds(log)
    assert len(begins) >= 4
    lasted = (begins[-1] - begins[0]) / (len(begins) - 1)
    assert lasted == pytest.approx(times.duration_ms, rel=0.01)


@pytest.mark.parametrize(("draw_ms", "stride"), [(5, 1), (45, 2), (70, 3)])
def test_frames_are_dropped_evenly(clock, draw_ms, stride):
    log = run(loaded(clock, steady(60, 33.3)), clock, draw_ms=draw_ms, until_ms=8000)
    shown = [frame for _, frame in log][20:]
    steps = {(later - one) % 60 for one, later in pairwise(shown)}
    assert steps == {stride}


def test_a_slow_picture_now_and_then_does_not_change_the_pace(clock):
    player = loaded(clock, steady(30, 66.7))
    for cost in [20.0] * 10 + [120.0] + [20.0] * 10:
        player.drawn(cost)
        assert player.stride == 1


def test_the_pace_comes_back_when_drawing_gets_cheap_again(clock):
    player = loaded(clock, steady(30, 33.3))
    for cost, stride in ((70.0, 3), (5.0, 1)):
        for _ in range(40):
            player.drawn(cost)
        assert player.stride == stride


def test_uneven_frames_come_on_at_their_own_times(clock):
    times = PlayTimes(starts_ms=(0.0, 30.0, 90.0, 120.0), duration_ms=150.0, source="vector")
    log = run(loaded(clock, times), clock, draw_ms=0.0, until_ms=299)
    began = log[0][0]
    assert [round(at - began) for at, _ in log] == [0, 30, 90, 120, 150, 180, 240, 270]
    assert [frame for _, frame in log] == [0, 1, 2, 3] * 2


def test_the_speed_changes_without_a_jump(clock):
    player = loaded(clock, steady(40, 50.0))
    player.play(0)
    clock.ms += 500
    assert player.due().frame == 10
    player.set_speed(0.5)
    assert player.due().frame == 10
    clock.ms += 500
    assert player.due().frame == 15
    assert player.wanted_per_s == 10.0
    player.set_speed(4.0)
    clock.ms += 100
    assert player.due().frame == 23


def test_one_beat_is_played_round_and_round(clock):
    player = loaded(clock, steady(40, 50.0))
    player.play(0)
    player.set_span(Span(start_ms=420.0, end_ms=1220.0))
    seen = set()
    for _ in range(300):
        clock.ms += 20
        seen.add(player.due().frame)
    # the frame that is on when the beat begins, and those that come on before it ends
    assert seen == set(range(8, 25))
    player.set_span(None)
    for _ in range(300):
        clock.ms += 20
        seen.add(player.due().frame)
    assert seen == set(range(40))


def test_the_shown_rate_is_what_was_drawn(clock):
    player = loaded(clock, steady(30, 40.0))
    player.play(0)
    assert player.shown_per_s is None
    for _ in range(50):
        clock.ms += 40
        player.drawn(10.0)
    assert player.shown_per_s == pytest.approx(25.0)
    player.stop()
    assert player.shown_per_s is None
    assert not player.playing


def test_the_frame_that_a_person_starts_on_is_shown_whatever_is_dropped(clock):
    player = loaded(clock, steady(30, 40.0))
    for _ in range(40):
        player.drawn(100.0)
    assert player.stride == 3
    player.play(7)
    assert player.due().frame == 7
    clock.ms += 120
    assert player.due().frame == 10
    player.seek(20)
    assert player.due().frame == 20
    clock.ms += 400  # round the end, on the same grid of frames
    assert player.due().frame == 0
    clock.ms += 80
    assert player.due().frame == 2


def test_a_change_of_pace_never_steps_back(clock):
    player = loaded(clock, steady(200, 40.0))
    player.play(0)
    before, costs = 0, [5.0, 90.0, 150.0, 20.0, 300.0, 5.0]
    for step in range(150):
        clock.ms += 37
        frame = player.due().frame
        assert frame >= before
        before = frame
        player.drawn(costs[step // 25])


def test_at_rest_nothing_moves_and_seeking_does_not_start(clock):
    player = loaded(clock, steady(30, 40.0))
    player.seek(7)
    assert not player.playing
    player.play(7)
    player.seek(20)
    assert player.due().frame == 20
    player.load(steady(5, 40.0))
    assert not player.playing


STEPS = st.lists(st.floats(2, 120), min_size=1, max_size=25)


@given(
    steps=STEPS,
    gone=st.floats(0, 1e5),
    cost=st.floats(0.1, 400),
    speed=st.sampled_from([0.1, 1.0, 4.0]),
)
def test_what_is_due_exists_and_is_never_ahead_of_its_time(steps, gone, cost, speed):
    starts = [0.0]
    for step in steps:
        starts.append(starts[-1] + step)
    times = PlayTimes(starts_ms=tuple(starts), duration_ms=starts[-1] + 40.0, source="x")
    clock = Clock()
    player = loaded(clock, times)
    player.set_speed(speed)
    player.play(0)
    player.drawn(cost)
    clock.ms += gone
    due = player.due()
    at = (gone * speed) % times.duration_ms
    assert times.starts_ms[due.frame] <= at + 1e-6
    assert 0 <= due.wait_ms <= times.duration_ms / speed
