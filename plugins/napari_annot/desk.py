"""What lies on the desk: one read, its loops, their scales, what is drawn. No Qt, no napari."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from psygnal import Signal

from annot.calibration import LoopScale, ObjectKind, ObjectRequest, ScaleRequest
from annot.errors import AnnotError, InputError
from annot.geometry import PixelPoint
from annot.measurement import Caliper
from annot.reads import LoopRead
from annot.tasks.calibrate import MadeScale
from annot.tasks.measure import NO_SCALE_ASKED, Beams
from annot.tasks.open import DisplayChoice, Loop
from annot.tasks.read import Read, ruled
from napari_annot import read_edits as edits
from napari_annot.assisted import Carried, Ghost
from napari_annot.display_state import AS_THE_FILE_ASKS
from napari_annot.draft_numbers import DraftNumbers, Surroundings
from napari_annot.drawing import Draft, caliper_of
from napari_annot.drawing_aids import DrawingAids
from napari_annot.end_placing import EndPlacing
from napari_annot.history import History
from napari_annot.measured import MeasuredCalipers
from napari_annot.screen_state import Aids, Facts, ScreenState
from napari_annot.standings import Standing, Standings, standing_of
from napari_annot.state import resolve
from napari_annot.tools import Tool, Trace, trace_of
from napari_annot.visible import OPEN_SEAT

NOBODY = Read(reader="", loops=())


def holds_work(read: Read) -> bool:
    """Whether anybody has drawn or stated something in a read."""
    bare = LoopRead(file="")
    return read.implant is not None or any(
        replace(loop, file="", sop_instance_uid=None) != bare for loop in read.loops
    )


class Desk(DrawingAids):
    """The model behind the screen: every change goes through it, every view follows `changed`.

    Loops are named by their absolute path here, in the read too; `saving` gives them the names
    that a read file uses.
    """

    fit_wanted = Signal(str, object)
    answers_wanted = Signal(list)
    trace_drawn = Signal()

    def __init__(self) -> None:
        self.read = ruled(NOBODY)
        self.loops: dict[str, Loop] = {}
        self.standings = Standings(self._ask_fit)
        self.measured = MeasuredCalipers()
        self.draft_numbers = DraftNumbers()
        self.beams = Beams()
        self.history = History()
        self.traces: dict[str, Trace] = {}
        self.displays: dict[str, DisplayChoice] = {}
        self.shown: str | None = None
        self.frame = 0
        self.tool: Tool | None = None
        self.draft: Draft | None = None
        self.selected: str | None = None
        self.placing = EndPlacing()
        self.read_file: Path | None = None
        self.ghost: Ghost | None = None
        self.carried: Carried | None = None
        self._saved, self.seat = NOBODY, OPEN_SEAT
        self.message = ""
        self.message_is_fault = False
        self._resolved: tuple[Facts, ScreenState] | None = None
        self._sheet = self._guided = None
        self.aids = Aids()
        self.asked, self.findings, self.chart, self.chart_name = None, None, None, ""
        self.findings_current = True
        self.suggestions = {}

    # ---- loops and frames

    @property
    def loop(self) -> Loop | None:
        """The loop on show."""
        return None if self.shown is None else self.loops[self.shown]

    def add(self, loop: Loop) -> str:
        """Put a loop on the desk, unless it lies there, and return its name."""
        file = str(loop.header.path.resolve())
        if file not in self.loops:
            self.loops[file] = loop
            part = LoopRead(file=file, sop_instance_uid=loop.header.sop_instance_uid or None)
            self.read = edits.with_loop(self.read, part)
            self.history.everywhere(lambda read: edits.with_loop(read, part))
            self._settle()
        return file

    def show(self, file: str | None) -> None:
        """Turn to a loop, at its first frame."""
        if file == self.shown:
            return
        self.draft = None
        self.shown, self.frame = file, 0
        self.changed.emit()

    @property
    def display(self) -> DisplayChoice:
        """How the loop on show is shown; no part of the read, for nothing is measured with it."""
        return self.displays.get(self.shown or "", AS_THE_FILE_ASKS)

    def show_as(self, choice: DisplayChoice) -> None:
        """Look at the loop on show otherwise."""
        self.displays[self._on_show()] = choice
        self.say("")
        self.changed.emit()

    def stand_on(self, frame: int) -> None:
        """Follow the viewer to a frame; what is half drawn on another frame is given up."""
        if frame == self.frame:
            return
        self.frame = frame
        if self.message_is_fault:
            self.say("")
        if self.draft is not None:
            self.draft = None
            self.say("Drawing stopped: the frame changed.", fault=True)
        self.changed.emit()

    def go_to(self, key: str) -> None:
        """Turn to a caliper: its loop, its frame, selected."""
        found = edits.find_caliper(self.read, key) or self.measured.find_derived(key)
        if found is None:
            return
        file, caliper = found
        self.selected = key
        self.show(file)
        self.frame_wanted.emit(caliper.frame.frame)
        self.changed.emit()

    # ---- scales

    def ask_scale(self, request: ScaleRequest | None) -> None:
        """State what scales the loop on show; None takes its scale away."""
        file = self._on_show()
        self._do(edits.edited(self.read, file, lambda loop: replace(loop, scale=request)))

    def take_answer(
        self, file: str, request: ObjectRequest, answer: MadeScale | AnnotError
    ) -> None:
        """Take the answer to a fit; it is dropped if nobody asks for it any more."""
        if self.standings.answer(self.read, file, request, standing_of(answer)):
            self._settle()
            self.changed.emit()

    def standing(self, file: str) -> Standing:
        """Return where a loop stands with its scale."""
        return self.standings[file]

    def keep_trace(self, kind: ObjectKind, frame: int, points: tuple[PixelPoint, ...]) -> None:
        """Keep a trace of the reference object in the loop on show; another kind starts anew."""
        file = self._on_show()
        trace = self.traces.get(file)
        if trace is None or trace.kind != kind:
            trace = Trace(kind=kind)
        self.traces[file] = trace.with_look(frame, points)
        self.trace_drawn.emit()
        self.changed.emit()

    def drop_traces(self) -> None:
        """Take away the traces in the loop on show; a scale made from them stays."""
        if self.shown is not None:
            self.traces.pop(self.shown, None)
            self.changed.emit()

    # ---- drawing

    def arm(self, tool: Tool | None) -> None:
        """Take a tool in hand, or put it down with whatever is half drawn."""
        if tool is not None and self.shown is None:
            self.say("Open a loop before drawing on it.", fault=True)
            return
        if tool is not None and self.seat.closed:
            self.say(self.seat.closed, fault=True)
            tool = None
        self.tool, self.draft, self.asked = tool, None, None
        if tool is not None or not self.seat.closed:
            self.say(tool.hint if tool else "")
        self.changed.emit()

    def draw(self, draft: Draft | None) -> None:
        """Show an unfinished line."""
        self.draft = draft
        self.changed.emit()

    def finish(self) -> None:
        """Let the unfinished line stand; one that is too short is given up."""
        draft, self.draft = self.draft, None
        if draft is None:
            return
        if draft.corrects is None:
            self.tool = None
        if not draft.drawable:
            self.say(f"Nothing drawn: {draft.why_not_drawable}.", fault=True)
            self.changed.emit()
        elif draft.tool.landmark is not None:
            self.place_landmark(draft)
        elif draft.tool.traces is not None:
            self.say("")
            self.keep_trace(draft.tool.traces, draft.frame, draft.points)
        else:
            caliper = caliper_of(draft, self.read, self.placing)
            if draft.corrects is None:
                caliper = self.as_asked(caliper, draft.file)
            self.selected = caliper.key
            end = draft.corner if draft.corrects else len(caliper.points) - 1
            self.aids = replace(self.aids, end=end)
            self.say("")
            self._do(edits.with_caliper(self.read, draft.file, caliper))

    def calipers_on_show(self) -> tuple[Caliper, ...]:
        """Return the calipers of the frame on show."""
        if self.shown is None:
            return ()
        loop = edits.loop_of(self.read, self.shown)
        return tuple(one for one in loop.calipers if one.frame.frame == self.frame)

    def select(self, key: str | None) -> None:
        """Select a caliper."""
        if key != self.selected:
            self.selected = key
            self.changed.emit()

    def delete_selected(self) -> None:
        """Take the selected caliper out of the read."""
        if self.selected is not None:
            key, self.selected = self.selected, None
            self._do(edits.without_caliper(self.read, key))

    # ---- the whole read

    def undo(self) -> None:
        """Go back one step."""
        if self.history.can_undo:
            self._turn_to(self.history.undo(self.read))

    def redo(self) -> None:
        """Return to the step that was undone."""
        if self.history.can_redo:
            self._turn_to(self.history.redo(self.read))

    def adopt(self, read: Read, loops: Sequence[Loop], read_file: Path) -> None:
        """Put a loaded read on the desk in place of what lay there; its loops are absolute.

        Raises
        ------
        InputError
            If a caliper lies where its loop has no frame or no picture; the desk stays as it was.
        """
        opened = {one.file: loop for one, loop in zip(read.loops, loops, strict=True)}
        MeasuredCalipers().update(read, opened, lambda _: NO_SCALE_ASKED, self.beams)
        self.read, self.loops, self.read_file = read, opened, read_file
        self._saved = read
        self.history.forget()
        self.standings = Standings(self._ask_fit)
        self.measured = MeasuredCalipers()
        self.traces = {
            one.file: trace_of(one.scale)
            for one in read.loops
            if isinstance(one.scale, ObjectRequest)
        }
        self.displays = {}
        self.tool = self.draft = self.selected = self.asked = self.findings = None
        self.placing = EndPlacing.of(read)
        self.shown, self.frame = (read.loops[0].file if read.loops else None), 0
        self._settle()
        self.changed.emit()

    @property
    def unsaved(self) -> bool:
        """Whether something of the read would be lost without saving."""
        work = self.read_file is not None or holds_work(self.read)
        return work and self.read != self._saved

    def saved_as(self, path: Path) -> None:
        """Remember that the read stands in a file as it is now."""
        self.read_file, self._saved = path, self.read
        self.changed.emit()

    def taken_up(self, read_file: Path | None) -> None:
        """Count the read as unsaved work on a file, or on none yet."""
        self.read_file, self._saved = read_file, NOBODY
        self.changed.emit()

    def facts(self) -> Facts:
        """Return a snapshot of the desk."""
        return Facts(
            read=self.read,
            loops=dict(self.loops),
            standings={file: self.standings[file] for file in self.loops},
            measured=self.measured.answers,
            derived=self.measured.derived,
            traces=dict(self.traces),
            shown=self.shown,
            display=self.display,
            frame=self.frame,
            tool=self.tool,
            draft=self.draft,
            drafted=self.draft_numbers.of(self.draft, self._around()),
            aids=self.aids,
            guides=self.guides(),
            selected=self.selected,
            placing=self.placing,
            ghost=self.ghost,
            carried=self.carried,
            seat=self.seat,
            unsaved=self.unsaved,
            can_undo=self.history.can_undo,
            can_redo=self.history.can_redo,
            message=self.message,
            message_is_fault=self.message_is_fault,
        )

    def state(self) -> ScreenState:
        """Return what the screen shows now, worked out once for all who ask."""
        facts = self.facts()
        if self._resolved is None or self._resolved[0] != facts:
            self._resolved = (facts, resolve(facts))
        return self._resolved[1]

    def rest(self) -> None:
        """Settle the unfinished line's numbers: the pointer has come to rest."""
        if self.draft is not None and self.draft_numbers.rest(self._around()):
            self._want_answers()
            self.changed.emit()

    def take_answers(self) -> None:
        """Show what has been simulated since."""
        came = [part.settle() for part in (self.measured, self.draft_numbers)]
        if any(came):
            self.changed.emit()

    def _want_answers(self) -> None:
        """Ask for every answer that only a simulation can give, all of them each time."""
        self.answers_wanted.emit([*self.draft_numbers.unsettled(), *self.measured.unsettled()])

    def _around(self) -> Surroundings:
        return Surroundings(
            read=self.read,
            loops=self.loops,
            scale_of=self._scale_of,
            beams=self.beams,
            placing=self.placing,
        )

    def say(self, message: str, *, fault: bool = False) -> None:
        """Set the status line; the next `changed` shows it."""
        self.message, self.message_is_fault = message, fault

    def _on_show(self) -> str:
        if self.shown is None:
            raise InputError("Open a loop first.")
        return self.shown

    def _ask_fit(self, file: str, request: ObjectRequest) -> None:
        self.fit_wanted.emit(file, request)

    def _do(self, read: Read) -> None:
        if read == self.read:
            self.changed.emit()
        elif self.seat.closed:
            self.say(self.seat.closed, fault=True)
            self.changed.emit()
        else:
            self.history.keep(self.read)
            self._turn_to(read)

    def _turn_to(self, read: Read) -> None:
        self.read = read
        self.draft = None
        if self.selected is not None and edits.find_caliper(read, self.selected) is None:
            self.selected = None
        self._settle()
        self.changed.emit()

    def _settle(self) -> None:
        self.standings.settle(self.read, self.loops)
        self.measured.update(self.read, self.loops, self._scale_of, self.beams)
        self._want_answers()

    def _scale_of(self, file: str) -> LoopScale:
        return self.standings[file].scale
