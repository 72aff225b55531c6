"""A second loop beside the one on show, at the frame that goes with it: plain facts, no Qt."""

from dataclasses import dataclass, replace

from annot.tasks.open import Loop
from annot.tasks.playback import LinkedBy, LinkedFrame, linked_frame
from napari_annot.desk import Desk
from napari_annot.display_state import AS_THE_FILE_ASKS
from napari_annot.screen_state import DrawnLine
from napari_annot.state import caption_of, lines_of

LINKS: tuple[tuple[LinkedBy, str], ...] = (("r_wave", "by R wave"), ("time", "by time"))
NO_R_WAVES = "by time: one of the loops stores no R waves"


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondLoop:
    """What stands beside the loop on show.

    Attributes
    ----------
    file, loop, frame
        Which loop, and the frame that goes with the one on show.
    caption
        Name, frame and the loop's own scale.
    link
        What links the two, in words.
    lines
        The calipers of that frame, with values under the loop's own scale.
    """

    file: str
    loop: Loop
    frame: int
    caption: str
    link: str
    lines: tuple[DrawnLine, ...]


def others(desk: Desk) -> tuple[tuple[str, str], ...]:
    """Return the loops that could stand beside the one on show, with their names."""
    return tuple(
        (line.file, f"{line.number}  {line.name}")
        for line in desk.state().loops
        if line.file != desk.shown
    )


def second_loop(desk: Desk, file: str, by: LinkedBy) -> SecondLoop | None:
    """Return a loop beside the one on show; None where either is not there or they are the same."""
    shown, other = desk.loop, desk.loops.get(file)
    if shown is None or other is None or file == desk.shown:
        return None
    linked = linked_frame(shown.header, desk.frame, other.header, by=by)
    # what is half drawn or proposed belongs to the loop on show
    facts = replace(
        desk.facts(),
        shown=file,
        frame=linked.frame,
        display=desk.displays.get(file, AS_THE_FILE_ASKS),
        draft=None,
        drafted=(),
        ghost=None,
    )
    part = next(one for one in facts.read.loops if one.file == file)
    return SecondLoop(
        file=file,
        loop=other,
        frame=linked.frame,
        caption=caption_of(facts, other),
        link=_link_words(linked, by),
        lines=lines_of(facts, part),
    )


def _link_words(linked: LinkedFrame, wanted: LinkedBy) -> str:
    if linked.by != wanted:
        return NO_R_WAVES
    words = dict(LINKS)[linked.by]
    return words if linked.percent is None else f"{words}, {linked.percent:.0f} % of the beat"
