"""The strip under the picture, as plain facts: beats, calipers, contrast, where the loop stands."""

from dataclasses import dataclass

from annot.measurement.phase import Phase, phase_at
from annot.tasks.filling import FillingCurve
from annot.tasks.open import Loop
from annot.tasks.playback import PlayTimes, Span, play_times, r_waves_ms
from napari_annot.screen_state import ScreenState
from napari_annot.wording import frame_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A caliper on the strip: where it lies, and a letter, so that colour is not all."""

    key: str
    frame: int
    colour: str
    letter: str
    words: str
    selected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """What the strip shows of the loop on show.

    Attributes
    ----------
    times
        When each frame comes on.
    frame
        The one on show.
    r_waves_ms
        Empty where the file states none.
    marks
        Calipers of the loop, by frame.
    curve
        Contrast, as parts of its peak; empty where there is none.
    suggested
        The frame suggested as best filled.
    no_suggestion
        Why there is none, empty where nobody asked.
    span
        The part that is played round and round.
    """

    times: PlayTimes
    frame: int
    r_waves_ms: tuple[float, ...] = ()
    marks: tuple[Mark, ...] = ()
    curve: tuple[float, ...] = ()
    suggested: int | None = None
    no_suggestion: str = ""
    span: Span | None = None

    @property
    def phase(self) -> Phase | None:
        """Which beat the frame on show lies in, and how far."""
        return self.phase_of(self.frame)

    def phase_of(self, frame: int) -> Phase | None:
        """Return which beat a frame lies in, and how far."""
        return phase_at(self.times.starts_ms[frame], self.r_waves_ms)

    def share_of(self, frame: int) -> float:
        """Return where a frame's middle lies, as a part of the loop's duration."""
        start = self.times.starts_ms[frame]
        last = frame + 1 == self.times.frames
        end = self.times.duration_ms if last else self.times.starts_ms[frame + 1]
        return (start + end) / 2 / self.times.duration_ms

    def frame_at(self, share: float) -> int:
        """Return the frame at a part of the loop's duration."""
        return self.times.frame_at(min(max(share, 0.0), 1.0) * self.times.duration_ms)


def strip_of(
    state: ScreenState, loop: Loop, *, curve: FillingCurve | None, span: Span | None
) -> Strip:
    """Return the strip of the loop on show."""
    number = next((one.number for one in state.loops if one.file == state.shown), None)
    selected = None if state.selected is None else state.selected.key
    # a contour has a row for each of its numbers, and one mark
    marks = {
        row.key: Mark(
            key=row.key,
            frame=row.frame,
            colour=row.colour,
            letter=row.quantity[:1].upper(),
            words=f"{row.quantity} {row.value}".strip(),
            selected=row.key == selected,
        )
        for row in reversed(state.rows)
        if row.loop == number
    }
    return Strip(
        times=play_times(loop.header),
        frame=min(state.frame, loop.frames - 1),
        r_waves_ms=r_waves_ms(loop.header),
        marks=tuple(sorted(marks.values(), key=lambda one: (one.frame, one.key))),
        curve=curve.shares if curve else (),
        suggested=curve.best_frame if curve else None,
        no_suggestion=curve.reason if curve else "",
        span=span,
    )


def place_words(strip: Strip, frame: int) -> str:
    """Return for instance 'frame 12 (13) of 45, 800 ms, 43 % of beat 1', and what lies there."""
    words = [
        f"frame {frame_words(frame)} of {strip.times.frames}",
        f"{strip.times.starts_ms[frame]:.0f} ms",
    ]
    phase = strip.phase_of(frame)
    if phase is not None and phase.percent is not None:
        words.append(f"{phase.percent:.0f} % of beat {phase.beat}")
    if strip.curve:
        words.append(f"contrast {100 * strip.curve[frame]:.0f} % of its peak")
    words += [mark.words for mark in strip.marks if mark.frame == frame]
    if frame == strip.suggested:
        words.append("suggested as best filled, from the picture's darkening: look for yourself")
    return ", ".join(words)
