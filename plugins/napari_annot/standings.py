"""Where each loop stands with its scale: not asked, being fitted, made or refused."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from annot.calibration import (
    BorrowedRequest,
    LoopScale,
    NoScale,
    ObjectRequest,
    RegionScales,
    ScaleRequest,
    borrow_scale,
)
from annot.errors import AnnotError
from annot.reads import LoopRead
from annot.tasks.calibrate import MadeScale, ScaleAnswer, answer_of, make_scale
from annot.tasks.measure import NO_SCALE_ASKED
from annot.tasks.open import Loop
from annot.tasks.read import Read

State = Literal["none", "fitting", "made", "refused"]
FITTING = NoScale(reason="the scale is being fitted")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One loop's scale as far as it is known.

    Attributes
    ----------
    state : str
    made : MadeScale
        Without a scale it holds the reason.
    fault : AnnotError or None
        What stopped the making, where it was more than a refusal.
    """

    state: State
    made: MadeScale
    fault: AnnotError | None = None
    _on: dict[int, ScaleAnswer | NoScale] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )

    def on(self, loop: Loop, frame: int) -> ScaleAnswer | NoScale:
        """Return the one scale on a frame with what stands beside it, or why there is none.

        That it depends on the place is such a reason too; `by_place` tells them apart.
        """
        xray = loop.header.xray
        number = frame if xray is not None and xray.varies else 0
        if number not in self._on:
            self._on[number] = _answer(self, loop, number)
        return self._on[number]

    @property
    def by_place(self) -> bool:
        """Whether an ultrasound region rules, whichever holds a line."""
        return isinstance(self.made.scale, RegionScales)

    @property
    def scale(self) -> LoopScale:
        """The scale, or why there is none."""
        return self.made.scale


def _answer(standing: Standing, loop: Loop, frame: int) -> ScaleAnswer | NoScale:
    if not isinstance(standing.scale, RegionScales):
        held = standing.scale.at((), frame=frame)
        if isinstance(held, NoScale):
            return held
    try:
        return answer_of(standing.made, loop, frame=frame)
    except AnnotError as fault:  # regions of different size, or none that measures
        return NoScale(reason=fault.message.rstrip("."))


NOT_ASKED = Standing(state="none", made=MadeScale(scale=NO_SCALE_ASKED))
BEING_FITTED = Standing(state="fitting", made=MadeScale(scale=FITTING))


def standing_of(answer: MadeScale | AnnotError) -> Standing:
    """Return where a loop stands after an answer."""
    if isinstance(answer, AnnotError):
        reason = answer.message.rstrip(".")
        return Standing(state="refused", made=MadeScale(scale=NoScale(reason=reason)), fault=answer)
    made = not isinstance(answer.scale, NoScale)
    return Standing(state="made" if made else "refused", made=answer)


def takes_time(request: ScaleRequest) -> bool:
    """Whether a fit on pixels stands behind a request, so that it must not hold up the screen."""
    return isinstance(request, ObjectRequest) and request.kind != "segment"


class Standings:
    """Answers by loop and request; an answer to a request that nobody asks any more is dropped."""

    def __init__(self, ask: Callable[[str, ObjectRequest], None]) -> None:
        self._ask = ask
        self._answers: dict[tuple[str, ScaleRequest], Standing] = {}
        self._now: dict[str, Standing] = {}
        self._lent: dict[str, tuple[MadeScale, BorrowedRequest, Standing]] = {}

    def __getitem__(self, file: str) -> Standing:
        return self._now.get(file, NOT_ASKED)

    def answer(self, read: Read, file: str, request: ScaleRequest, got: Standing) -> bool:
        """Keep an answer if the read still asks for it, and say whether it does."""
        wanted = any(one.file == file and one.scale == request for one in read.loops)
        if wanted:
            self._answers[file, request] = got
        else:
            self._answers.pop((file, request), None)
        return wanted

    def settle(self, read: Read, loops: Mapping[str, Loop]) -> None:
        """Bring every loop to where its request stands, asking for what must be fitted."""
        own = {one.file: self._own(one, loops[one.file]) for one in read.loops}
        self._now = {
            one.file: self._borrowed(one.scale, one.file, own, loops)
            if isinstance(one.scale, BorrowedRequest)
            else own[one.file]
            for one in read.loops
        }

    def _own(self, part: LoopRead, loop: Loop) -> Standing:
        request = part.scale
        if request is None or isinstance(request, BorrowedRequest):
            return NOT_ASKED
        known = self._answers.get((part.file, request))
        if known is not None:
            return known
        if takes_time(request) and isinstance(request, ObjectRequest):
            self._answers[part.file, request] = BEING_FITTED
            self._ask(part.file, request)
            # asking may have answered at once
            return self._answers[part.file, request]
        try:
            standing = standing_of(make_scale(loop, request))
        except AnnotError as fault:
            standing = standing_of(fault)
        self._answers[part.file, request] = standing
        return standing

    def _borrowed(
        self,
        request: BorrowedRequest,
        file: str,
        own: Mapping[str, Standing],
        loops: Mapping[str, Loop],
    ) -> Standing:
        lender = own.get(request.file)
        if lender is None or lender.state in ("none", "refused"):
            name = loops[request.file].header.path.name if request.file in loops else request.file
            return standing_of(
                AnnotError(f"{name}, whose scale is to be used, has none of its own.")
            )
        if lender.state == "fitting":
            return BEING_FITTED
        kept = self._lent.get(file)
        if kept is None or kept[0] is not lender.made or kept[1] != request:
            scale = borrow_scale(
                lender.made, loops[request.file].header, loops[file].header, request
            )
            self._lent[file] = (lender.made, request, standing_of(MadeScale(scale=scale)))
        return self._lent[file][2]
