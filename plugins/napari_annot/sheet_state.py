"""The sheet as plain data: quantities down, views across, what stands and what is owed. No Qt."""

from dataclasses import dataclass, field

Shares = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One repeat of a cell: its number, and the caliper that stands for it, empty where owed."""

    repeat: int
    key: str = ""

    @property
    def read(self) -> bool:
        """Whether it has been read."""
        return bool(self.key)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One quantity in one view.

    Attributes
    ----------
    quantity : str
    view : int
        Place of its column.
    value, interval : str
        Of the caliper shown, empty where nothing is read yet.
    shares : tuple of (component, share)
        Of its variance, the largest first.
    marks : tuple of Mark
        One for each repeat that is wanted or read.
    key : str
        The caliper shown.
    sign, word : str
        What is amiss with it, as a sign and as a word.
    why : tuple of str
        The same in full, and what else its reader must know.
    wanted : bool
        Whether the protocol asks for it.
    drawable : bool
        Whether it is drawn; the others follow from landmarks.
    provisional : bool
        Whether the value is first order's alone for now.
    """

    quantity: str
    view: int
    title: str
    value: str = ""
    interval: str = ""
    unit: str = ""
    shares: Shares = ()
    marks: tuple[Mark, ...] = ()
    key: str = ""
    sign: str = ""
    word: str = ""
    why: tuple[str, ...] = ()
    wanted: bool = True
    drawable: bool = True
    provisional: bool = False

    @property
    def filled(self) -> bool:
        """Whether a value stands in it."""
        return bool(self.value)

    @property
    def owed(self) -> int | None:
        """The lowest repeat that is owed, None where none is."""
        return next((one.repeat for one in self.marks if not one.read), None)

    @property
    def next_repeat(self) -> int:
        """The number of the reading that would come next."""
        return self.owed or len(self.marks) + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewColumn:
    """One view at hand.

    Attributes
    ----------
    title : str
        Modality and angle.
    files : tuple of str
        Loops that show it.
    file : str
        The one that comes up.
    here : bool
        Whether one of them is on show.
    asked : bool
        Whether the protocol knows this view.
    sign : str
        What is amiss with the view itself: an echo plane that nobody stated.
    names : tuple of str
        Of its loops, as far as they are shown.
    """

    title: str
    angle: str
    files: tuple[str, ...]
    file: str
    here: bool = False
    asked: bool = True
    sign: str = ""
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One quantity."""

    quantity: str
    title: str
    unit: str
    colour: str
    meaning: str
    key_words: str
    cells: tuple[Cell, ...]
    required: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetState:
    """The whole sheet.

    Attributes
    ----------
    offered : (row, column) or None
        The cell to be read next.
    absent : tuple of str
        Views that the protocol asks for and no loop at hand shows.
    owed : int
        Readings that are still owed in the views at hand.
    """

    protocol: str = ""
    columns: tuple[ViewColumn, ...] = ()
    rows: tuple[SheetRow, ...] = field(default=())
    offered: tuple[int, int] | None = None
    absent: tuple[str, ...] = ()
    owed: int = 0

    @property
    def next_cell(self) -> Cell | None:
        """The cell to be read next."""
        if self.offered is None:
            return None
        row, column = self.offered
        return self.rows[row].cells[column]

    def cell(self, quantity: str, view: int) -> Cell:
        """Return a cell by quantity and column."""
        row = next(one for one in self.rows if one.quantity == quantity)
        return row.cells[view]
