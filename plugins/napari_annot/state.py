"""What the screen shows, worked out from what lies on the desk: a pure function, no Qt."""

from collections.abc import Sequence

from annot.calibration import device_offers, protects_its_scale
from annot.measurement import Caliper
from annot.reads import Conditions, LoopRead
from annot.tasks.open import Loop
from annot.tasks.read import rules_of
from napari_annot import wording
from napari_annot.aid_lines import aid_lines, landmarks_on
from napari_annot.answers import Answer, label_of
from napari_annot.assisted import Ghost, unconfirmed
from napari_annot.display_state import DisplayWords, altered_words, display_words
from napari_annot.screen_state import (
    DrawnLine,
    Facts,
    LoopLine,
    Row,
    ScaleWords,
    ScreenState,
)
from napari_annot.shapes import circle
from napari_annot.tools import PURPLE, WHITE, look_of


def resolve(facts: Facts) -> ScreenState:
    """Return what the screen shows."""
    part = next((one for one in facts.read.loops if one.file == facts.shown), None)
    loop = None if part is None else facts.loops[part.file]
    rows = _rows(facts)
    return ScreenState(
        loops=_loop_lines(facts),
        shown=facts.shown,
        modality=loop.header.modality if loop else "",
        display=display_words(loop, facts.display) if loop else DisplayWords(),
        frame=facts.frame,
        caption=caption_of(facts, loop),
        scale=_scale_words(facts, loop),
        request=part.scale if part else None,
        trace=facts.traces.get(facts.shown or ""),
        lines=lines_of(facts, part),
        rows=rows,
        tool=facts.tool,
        drawing_path=facts.draft is not None and not facts.draft.tool.straight,
        selected=_selected(facts),
        conditions=part.conditions if part else Conditions(),
        plane_deg=part.view.plane_deg if part else None,
        reader=facts.read.reader,
        study=(facts.read.study or "") if facts.seat.visible.file_name else "",
        protocol=facts.read.protocol if facts.seat.visible.file_name else rules_of(facts.read).name,
        implant=facts.read.implant,
        placing=facts.placing,
        ghost=_ghost(facts) is not None,
        aids=facts.aids,
        landmarks=tuple(one.name for one in landmarks_on(part, facts.frame)),
        carrying=wording.carrying_words(facts.carried),
        unconfirmed=len(unconfirmed(facts.read)),
        unsaved=facts.unsaved,
        can_undo=facts.can_undo,
        can_redo=facts.can_redo,
        message=facts.message,
        message_is_fault=facts.message_is_fault,
        seat=facts.seat,
    )


def _selected(facts: Facts) -> Caliper | None:
    calipers = (one for loop in facts.read.loops for one in loop.calipers)
    return next((one for one in calipers if one.key == facts.selected), None)


def _loop_lines(facts: Facts) -> tuple[LoopLine, ...]:
    return tuple(
        LoopLine(
            file=part.file,
            number=number,
            name=facts.seat.name_of(facts.loops[part.file].header.path.name),
            modality=facts.loops[part.file].header.modality,
            view=wording.view_words(facts.loops[part.file].header, 0, part.view.plane_deg),
            scale=wording.short_scale_words(facts.standings[part.file], facts.loops[part.file]),
            frames=facts.loops[part.file].header.frames,
            warnings=facts.loops[part.file].header.warnings if facts.seat.visible.header else (),
        )
        for number, part in enumerate(facts.read.loops, start=1)
    )


def caption_of(facts: Facts, loop: Loop | None) -> str:
    """Return what stands over the picture of the loop on show."""
    if loop is None or facts.shown is None:
        return ""
    header = loop.header
    words = wording.caption_scale_words(facts.standings[facts.shown], loop, facts.frame)
    name = facts.seat.name_of(header.path.name)
    where = f"{name}  frame {facts.frame} (DICOM {facts.frame + 1})  {words}"
    altered = altered_words(loop, facts.display)
    return f"{where}\n{altered}" if altered else where


def _scale_words(facts: Facts, loop: Loop | None) -> ScaleWords:
    if loop is None or facts.shown is None:
        return ScaleWords(state="none", headline="No loop open.")
    standing, visible = facts.standings[facts.shown], facts.seat.visible
    return ScaleWords(
        state=standing.state,
        headline=wording.scale_headline(standing, loop, facts.frame),
        details=wording.scale_details(standing, loop, facts.frame),
        warnings=visible.remarks(wording.scale_warnings(standing, loop, facts.frame)),
        others=(
            wording.other_scales(standing, loop, facts.frame) if visible.scale_comparison else ()
        ),
        offers=device_offers(loop.header) if visible.header else (),
        protected=protects_its_scale(loop.header),
    )


def _rows(facts: Facts) -> tuple[Row, ...]:
    rows = []
    corrected = _corrected(facts)
    for number, part in enumerate(facts.read.loops, start=1):
        for caliper in (*part.calipers, *facts.derived.get(part.file, ())):
            answers = facts.measured[caliper.key]
            if caliper.key == corrected and facts.drafted:
                answers = facts.drafted
            rows += [_row(caliper, part, number, answer, facts) for answer in answers]
    return tuple(rows)


def _corrected(facts: Facts) -> str | None:
    return facts.draft.corrects.key if facts.draft and facts.draft.corrects else None


def _row(caliper: Caliper, part: LoopRead, number: int, answer: Answer, facts: Facts) -> Row:
    header = facts.loops[part.file].header
    frame = caliper.frame.frame
    stated = caliper.view_deg if caliper.view_deg is not None else part.view.plane_deg
    title, colour = look_of(caliper.measurand)
    visible = facts.seat.visible
    return Row(
        key=caliper.key,
        loop=number,
        quantity=_short_title(title, answer),
        colour=colour,
        frame=frame,
        view=wording.view_words(header, frame, stated),
        value=answer.value if visible.millimetres else "",
        interval=answer.interval if visible.millimetres else "",
        number=answer.measurement.result.value,
        scaled=not answer.unscaled,
        provisional=answer.provisional,
        confirmed=caliper.confirmed,
        repeat=caliper.repeat,
        warnings=visible.remarks(answer.warnings) if visible.millimetres else (),
        here=part.file == facts.shown and frame == facts.frame,
    )


def _short_title(title: str, answer: Answer) -> str:
    """Return a row's name: of a contour's several numbers each its own."""
    outcome = answer.measurement.outcome
    forms = {
        "area": "area",
        "perimeter": "perimeter",
        "area_diameter": "Ø by area",
        "perimeter_diameter": "Ø by perimeter",
    }
    return f"{title}, {forms[outcome.form]}" if outcome.form in forms else title


def lines_of(facts: Facts, part: LoopRead | None) -> tuple[DrawnLine, ...]:
    """Return the lines on the frame on show."""
    if part is None:
        return ()
    return (
        *_object_lines(facts, part),
        *aid_lines(facts, part),
        *_caliper_lines(facts, part),
        *_draft_lines(facts),
        *_ghost_lines(facts),
    )


def _ghost(facts: Facts) -> Ghost | None:
    """Return the proposal that still fits what is on show."""
    ghost = facts.ghost
    if ghost is None or facts.selected != ghost.caliper.key or not ghost.stands(facts.read):
        return None
    return ghost


def _ghost_lines(facts: Facts) -> list[DrawnLine]:
    ghost = _ghost(facts)
    if ghost is None or ghost.caliper.frame.frame != facts.frame or facts.draft is not None:
        return []
    return [
        DrawnLine(
            key="ghost",
            points=ghost.refined.points,
            colour=WHITE,
            label=wording.ghost_words(ghost, millimetres=facts.seat.visible.millimetres),
            thin=True,
        )
    ]


def _object_lines(facts: Facts, part: LoopRead) -> list[DrawnLine]:
    """Return what was fitted, or the trace as long as nothing was."""
    standing = facts.standings[part.file]
    trace = facts.traces.get(part.file)
    look = trace.on(facts.frame) if trace else None
    seen = standing.made.seen
    lines = []
    if seen is not None and trace is not None and trace.looks[0][0] == facts.frame:
        for index, outline in enumerate(seen.outline):
            label = f"{trace.kind.replace('segment', 'known length')}, fitted" if index == 0 else ""
            lines.append(
                DrawnLine(
                    key=f"fit-{index}",
                    points=outline,
                    colour=PURPLE,
                    label=label,
                    ends=trace.kind == "segment",
                    thin=trace.kind != "segment",
                    beside=tuple(point for piece in seen.outline for point in piece),
                )
            )
    elif look is not None and trace is not None:
        shape = circle(*look[:2]) if trace.kind == "sphere" else look
        lines.append(
            DrawnLine(
                key="trace",
                points=shape,
                colour=PURPLE,
                label=f"{trace.kind.replace('segment', 'known length')}, traced by hand",
                ends=trace.kind == "segment",
            )
        )
    return lines


def _caliper_lines(facts: Facts, part: LoopRead) -> list[DrawnLine]:
    corrected = _corrected(facts)
    return [
        _caliper_line(one, facts)
        for one in (*part.calipers, *facts.derived.get(part.file, ()))
        if one.frame.frame == facts.frame and one.key != corrected
    ]


def _caliper_line(caliper: Caliper, facts: Facts) -> DrawnLine:
    title, colour = look_of(caliper.measurand)
    marks = wording.origin_marks(caliper)
    return DrawnLine(
        key=caliper.key,
        points=caliper.drawn_points,
        colour=colour,
        label=_label(title, facts.measured[caliper.key], marks, facts),
        ends=caliper.measurand.kind == "length",
        selected=caliper.key == facts.selected,
        thin=not caliper.confirmed or caliper.origin == "derived",
    )


def _label(title: str, answers: Sequence[Answer], marks: Sequence[str], facts: Facts) -> str:
    """Return the lines beside a drawing, without its numbers where the seat hides them."""
    if facts.seat.visible.millimetres:
        return label_of(title, answers, marks=marks)
    return "\n".join([title, *marks])


def _draft_lines(facts: Facts) -> list[DrawnLine]:
    draft = facts.draft
    if draft is None or draft.frame != facts.frame or len(draft.points) < 2:
        return []
    if draft.tool.traces == "sphere":
        return [
            DrawnLine(
                key="draft",
                points=circle(*draft.points[:2]),
                colour=PURPLE,
                label="sphere",
                ends=False,
            )
        ]
    label = draft.tool.title
    if facts.drafted:
        label = _label(draft.tool.title, facts.drafted, (), facts)
    return [
        DrawnLine(
            key="draft",
            points=draft.drawn_points,
            colour=draft.tool.colour,
            label=label,
            ends=draft.tool.measurand is None or draft.tool.measurand.kind == "length",
            selected=True,
        )
    ]
