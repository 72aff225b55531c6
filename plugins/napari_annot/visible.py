"""What a person at the desk may see: everything, or what a blinding leaves. No Qt."""

from collections.abc import Iterable
from dataclasses import dataclass

from annot.tasks.handover import DOUBT
from annot.vocabulary.protocol import Hidden


@dataclass(frozen=True, slots=True, kw_only=True)
class Visible:
    """Which parts of the screen are shown; whoever shows one asks here.

    Attributes
    ----------
    header : bool
        What a loop's header says beyond what measuring needs.
    file_name : bool
        Names of loops and files, which are a showing's code.
    other_reads : bool
        Plots that set reads side by side.
    size_rows, cross_section : bool
        What follows from the grid.
    scale_comparison : bool
        Every scale that is not in use, and what E_n says of it.
    millimetres : bool
        Values of what is drawn.
    """

    header: bool = True
    file_name: bool = True
    other_reads: bool = True
    size_rows: bool = True
    cross_section: bool = True
    scale_comparison: bool = True
    millimetres: bool = True

    @classmethod
    def without(cls, hide: Iterable[Hidden]) -> "Visible":
        """Return what a protocol's list of hidden things leaves."""
        hidden = set(hide)
        return cls(
            header="header" not in hidden,
            file_name="file_name" not in hidden,
            other_reads="other_reads" not in hidden,
            size_rows="size_rows" not in hidden,
            cross_section="cross_section" not in hidden,
            scale_comparison="scale_comparison" not in hidden,
            millimetres="millimetres_while_drawing" not in hidden,
        )

    def remarks(self, remarks: Iterable[str]) -> tuple[str, ...]:
        """Return remarks, without those that compare scales where these are hidden."""
        return tuple(one for one in remarks if self.scale_comparison or DOUBT not in one)


EVERYTHING = Visible()
SEATED = "A blinded seat opens the cases of its list and nothing else."


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """How a person sits at the desk; nobody's seat is blinded unless it says so.

    Attributes
    ----------
    case : str
        What the loop on show is called in a blinded seat; empty in any other.
    visible : Visible
    closed : str
        Why nothing on the desk may be changed; empty where it may.
    """

    case: str = ""
    visible: Visible = EVERYTHING
    closed: str = ""

    def name_of(self, name: str) -> str:
        """Return what a loop is called on the screen."""
        return name if self.visible.file_name else self.case


OPEN_SEAT = Seat()
