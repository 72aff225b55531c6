"""Lines that help drawing: landmarks, guides, neighbouring frames' calipers, the end in hand."""

from annot.measurement.placed_landmark import PlacedLandmark
from annot.reads import LoopRead
from annot.vocabulary.landmarks import LANDMARKS
from napari_annot.screen_state import DrawnLine, Facts
from napari_annot.tools import WHITE, YELLOW, look_of

GUIDE_COLOURS = {"parallel": "#56B4E9", "square": "#009E73", "ray": "#CC79A7"}
FAINT = "80"  # as the last two digits of a colour: half of it


def landmarks_on(part: LoopRead | None, frame: int) -> tuple[PlacedLandmark, ...]:
    """Return a loop's landmarks on a frame."""
    if part is None:
        return ()
    return tuple(one for one in part.landmarks if one.frame == frame)


def aid_lines(facts: Facts, part: LoopRead) -> tuple[DrawnLine, ...]:
    """Return every line of the frame on show that is no caliper and no reference object."""
    return (
        *(_onion(facts, part) if facts.aids.onion else ()),
        *(_guides(facts) if facts.aids.guides else ()),
        *(_landmark(one) for one in landmarks_on(part, facts.frame)),
        *_end_in_hand(facts, part),
    )


def _landmark(mark: PlacedLandmark) -> DrawnLine:
    title = LANDMARKS[mark.name].title
    if len(mark.points) > 1:
        return DrawnLine(
            key=mark.name, points=mark.points, colour=WHITE, label=title, ends=False, thin=True
        )
    return DrawnLine(key=mark.name, points=mark.points, colour=WHITE, label=title, mark="cross")


def _guides(facts: Facts) -> list[DrawnLine]:
    """Return the guides; their words stand beside them only while something is being drawn."""
    drawing = facts.tool is not None or facts.draft is not None
    return [
        DrawnLine(
            key=f"guide-{at}",
            points=guide.points,
            colour=GUIDE_COLOURS[guide.name],
            label=f"guide: {guide.words}" if drawing else "",
            ends=False,
            thin=True,
        )
        for at, guide in enumerate(facts.guides)
    ]


def _onion(facts: Facts, part: LoopRead) -> list[DrawnLine]:
    """Return the calipers of the nearest frames before and after this one that have any."""
    frames = {one.frame.frame for one in part.calipers}
    before = max((one for one in frames if one < facts.frame), default=None)
    after = min((one for one in frames if one > facts.frame), default=None)
    return [
        DrawnLine(
            key=f"onion-{one.key}",
            points=one.drawn_points,
            colour=f"{look_of(one.measurand)[1]}{FAINT}",
            ends=False,
            thin=True,
        )
        for one in part.calipers
        if one.frame.frame in (before, after)
    ]


def _end_in_hand(facts: Facts, part: LoopRead) -> list[DrawnLine]:
    """Return a ring about the end that the arrows move."""
    if facts.draft is not None:
        return []
    return [
        DrawnLine(
            key="end-in-hand",
            points=(one.points[facts.aids.end],),
            colour=YELLOW,
            mark="ring",
        )
        for one in part.calipers
        if one.key == facts.selected and one.frame.frame == facts.frame
    ]
