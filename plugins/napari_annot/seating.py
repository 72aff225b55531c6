"""A reader's blinded seat: a package's cases one at a time, saved, signed and closed. No Qt."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from annot.errors import AnnotError, InputError
from annot.reads.package_file import PresentationPart
from annot.reads.signed_file import SignedFile
from annot.tasks.package_folder import open_package
from annot.tasks.read import load_read
from annot.tasks.reads_sign import OpenShowing, showings_of, sign
from napari_annot import filing
from napari_annot.autosave import autosave_of
from napari_annot.desk import Desk
from napari_annot.visible import Seat, Visible

OPEN, DRAWN, SIGNED, NOT_READABLE = "open", "drawn", "signed", "not readable"
CLOSED = "This case is signed and closed: it is for looking only."
TakesUp = Callable[[Path], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseLine:
    """One case of the list: what it is called, how far it has come, whether it is on show."""

    code: str
    title: str
    state: str
    here: bool

    @property
    def closed(self) -> bool:
        """Whether its reader has answered."""
        return self.state in (SIGNED, NOT_READABLE)


class Seating:
    """Puts one case of a package at a time on the desk.

    Parameters
    ----------
    desk : Desk
    folder : Path
        The reader's package.
    reader : str
        Who sits down.

    Raises
    ------
    InputError
        If the folder is no package, or somebody else's.
    """

    def __init__(self, desk: Desk, folder: Path, reader: str) -> None:
        self._desk = desk
        self._package = open_package(folder.resolve())
        if reader != self._package.list.reader:
            raise InputError(
                f"This package was not made for reader {reader}: state the code that the "
                "laboratory gave you."
            )
        self.reader, self.code = reader, ""
        self.visible = Visible.without(self._package.list.protocol.hide)
        self._showings = showings_of(self._package.folder)

    def cases(self) -> tuple[CaseLine, ...]:
        """Return the package's cases in their order."""
        return tuple(
            CaseLine(
                code=one.code,
                title=self._title(one.code, one.order),
                state=self._state(one),
                here=one.code == self.code,
            )
            for one in self._showings
        )

    def next_open(self) -> str:
        """Return the first case without an answer, else the first."""
        cases = self.cases()
        return next((one.code for one in cases if not one.closed), cases[0].code)

    def open_case(self, code: str, takes_up: TakesUp) -> None:
        """Put a case on the desk in place of the one before, whose read is saved first.

        Raises
        ------
        AnnotError
            If the former cannot be saved or the case is damaged; then the former stays.
        """
        if code == self.code:
            return
        self.leave()
        one = self._package.showing(code)
        with self._called_as_shown(one):
            self._open(one, takes_up)
        self.code = code
        self._showings = showings_of(self._package.folder)
        self._desk.say(self._desk.seat.closed)

    def _open(self, one: PresentationPart, takes_up: TakesUp) -> None:
        package = self._package
        package.refuse_damaged_loop(one)
        package.read(one)
        signed = package.signed(one)
        path = package.folder / one.read
        kept = autosave_of(path)
        taken = signed is None and kept.exists() and self._is_of(kept, one) and takes_up(kept)
        before, self._desk.seat = self._desk.seat, self._seat(one, signed)
        try:
            if taken:
                filing.take_up(self._desk, kept, path)
            else:
                filing.load(self._desk, path)
        except AnnotError:
            self._desk.seat = before
            raise

    def leave(self) -> None:
        """Save the case on the desk; what is half drawn is given up.

        Raises
        ------
        InputError
            If its file cannot be written.
        """
        desk = self._desk
        if desk.draft is not None or desk.tool is not None:
            desk.arm(None)
        if not desk.seat.closed and desk.unsaved and desk.read_file is not None:
            filing.save(desk, desk.read_file)

    def sign(self, *, unreadable: str = "") -> None:
        """Sign the case on the desk, or that it is not readable; from then on it is closed.

        Raises
        ------
        AnnotError
            If it is closed already, a line is half drawn, a scale is being fitted, or the task
            refuses to sign.
        """
        desk = self._desk
        if desk.seat.closed:
            raise InputError(desk.seat.closed)
        if not self.code or desk.read_file is None:
            raise InputError("Open a case first.")
        if any(desk.standing(file).state == "fitting" for file in desk.loops):
            raise InputError("Wait: the scale is still being fitted.")
        filing.save(desk, desk.read_file)
        package = self._package
        one = package.showing(self.code)
        with self._called_as_shown(one):
            signed = sign(package.folder, self.code, reader=self.reader, unreadable=unreadable)
        desk.arm(None)
        desk.history.forget()
        desk.seat = self._seat(one, signed)
        self._showings = showings_of(package.folder)
        desk.say(f"{desk.seat.case}: {NOT_READABLE if unreadable else SIGNED}, and closed.")

    @contextmanager
    def _called_as_shown(self, one: PresentationPart) -> Iterator[None]:
        """Let a refusal name the case as the list does: its code is the name of its files."""
        try:
            yield
        except AnnotError as fault:
            title = self._title(one.code, one.order)
            shown = (
                fault.message
                if title.endswith(one.code)
                else fault.message.replace(one.code, title)
            )
            raise InputError(shown) from None

    def _seat(self, one: PresentationPart, signed: SignedFile | None) -> Seat:
        return Seat(
            case=self._title(one.code, one.order),
            visible=self.visible,
            closed="" if signed is None else CLOSED,
        )

    def _title(self, code: str, order: int) -> str:
        return f"Case {order} {code}" if self.visible.file_name else f"Case {order}"

    def _state(self, one: OpenShowing) -> str:
        if one.signed is not None:
            return SIGNED if one.signed.readable else NOT_READABLE
        calipers = one.calipers
        if one.code == self.code:
            calipers = sum(len(loop.calipers) for loop in self._desk.read.loops)
        return DRAWN if calipers else OPEN

    def _is_of(self, kept: Path, one: PresentationPart) -> bool:
        """Whether unsaved work that was kept is this reader's of this case."""
        found = load_read(kept)
        files = [loop.file for loop in found.loops]
        return (found.reader, found.study, files) == (self.reader, one.code, [one.file])
