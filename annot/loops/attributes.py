"""Read attributes that real files get wrong: a fault becomes a sentence, never a crash.

Values of names, dates and free text are never quoted in a sentence: they can identify a person.
"""

from collections.abc import Callable, Sequence
from math import isfinite

from pydicom.dataset import Dataset

from annot.loops.quiet import captured_warnings

_LONGEST_QUOTE = 32


# wider than any detector's or echo's pixel: what lies outside is no size, and breaks arithmetic
PIXEL_SIDE_MM = (1e-4, 100.0)


def is_pixel_side(number: float) -> bool:
    """Tell whether a number can be the side of a pixel in mm."""
    return PIXEL_SIDE_MM[0] <= number <= PIXEL_SIDE_MM[1]


class Attributes:
    """One dataset's attributes, and the faults met while reading them.

    Parameters
    ----------
    dataset
        The parsed dataset, without pixels.
    warnings
        Where sentences about faults go; shared with nested items.
    place
        Words put before the attribute's name in a sentence, such as ``"Region 2: "``.
    """

    def __init__(self, dataset: Dataset, warnings: list[str], *, place: str = "") -> None:
        self._dataset = dataset
        self.warnings = warnings
        self._place = place
        self._unreadable: set[str] = set()

    def warn(self, sentence: str) -> None:
        """Note a fault, once."""
        full = f"{self._place}{sentence}"
        if full not in self.warnings:
            self.warnings.append(full)

    def present(self, keyword: str) -> bool:
        """Tell whether the attribute is in the file, empty or not."""
        return keyword in self._dataset

    def empty(self, keyword: str) -> bool:
        """Tell whether the attribute is in the file without a value."""
        values = self._values(keyword)
        return self.present(keyword) and not values and keyword not in self._unreadable

    def raw(self, keyword: str) -> object:
        """First value as it was parsed, ``None`` if absent, empty or unreadable."""
        values = self._values(keyword)
        return values[0] if len(values) == 1 else None

    def text(self, keyword: str) -> str | None:
        """First value as text without padding, ``None`` if absent or empty."""
        values = self._values(keyword)
        text = str(values[0]).strip(" \0") if values else ""
        return text or None

    def texts(self, keyword: str) -> tuple[str, ...]:
        """All values as text."""
        return tuple(str(value).strip(" \0") for value in self._values(keyword))

    def one_of(self, keyword: str, allowed: Sequence[str]) -> str | None:
        """Read a coded text; anything not in `allowed` is a fault."""
        text = self.text(keyword)
        if text is None or text in allowed:
            return text
        self.warn(f"{keyword} is none of {', '.join(allowed)} and is not used.")
        return None

    def yes_no(self, keyword: str) -> bool | None:
        """YES or NO as a truth value."""
        answer = self.one_of(keyword, ("YES", "NO"))
        return None if answer is None else answer == "YES"

    def numbers(self, keyword: str) -> tuple[float, ...] | None:
        """All values as finite numbers; ``None`` if absent, empty, or any is not a number."""
        if not self.present(keyword):
            return None
        values = self._values(keyword)
        numbers = tuple(number for value in values if (number := _finite(value)) is not None)
        if values and len(numbers) == len(values):
            return numbers
        if values:
            bad = next(value for value in values if _finite(value) is None)
            self.warn(f"{keyword} holds {_quoted(bad)}, which is not a number, and is not used.")
        return None

    def number(
        self, keyword: str, *, accept: Callable[[float], bool] | None = None, rule: str = ""
    ) -> float | None:
        """One finite number.

        Parameters
        ----------
        keyword
            The attribute.
        accept
            What the number must satisfy; `rule` says it in words for the sentence.
        """
        numbers = self.numbers(keyword)
        if numbers is None:
            return None
        if len(numbers) != 1:
            self.warn(f"{keyword} has {len(numbers)} values instead of one and is not used.")
            return None
        if accept is not None and not accept(numbers[0]):
            self.warn(f"{keyword} is {numbers[0]:g}, not {rule}, and is not used.")
            return None
        return numbers[0]

    def positive(self, keyword: str) -> float | None:
        """One number above 0; an empty attribute is a fault."""
        self._note_empty(keyword)
        return self.number(keyword, accept=lambda value: value > 0, rule="a positive number")

    def pixel_sides(self, keyword: str) -> tuple[float, float] | None:
        """Height and width of a pixel in mm; an empty attribute is a fault."""
        self._note_empty(keyword)
        numbers = self.numbers(keyword)
        if numbers is None:
            return None
        if len(numbers) != 2 or not all(is_pixel_side(number) for number in numbers):
            stated = "\\".join(f"{number:g}" for number in numbers[:3])
            least, most = PIXEL_SIDE_MM
            self.warn(
                f"{keyword} is {stated}, not two sizes of a pixel between {least:g} and {most:g} "
                "mm, and is not used."
            )
            return None
        return numbers[0], numbers[1]

    def whole(self, keyword: str) -> int | None:
        """One whole number."""
        number = self.number(keyword, accept=float.is_integer, rule="a whole number")
        return None if number is None else int(number)

    def items(self, keyword: str) -> tuple[Dataset, ...]:
        """Items of a sequence; empty if absent or not a sequence."""
        values = self._values(keyword)
        if all(isinstance(value, Dataset) for value in values):
            return tuple(values)  # type: ignore[arg-type]  # just checked one by one
        self.warn(f"{keyword} is not a sequence of items and is not used.")
        return ()

    def _note_empty(self, keyword: str) -> None:
        if self.empty(keyword):
            self.warn(f"{keyword} is present but empty.")

    def _values(self, keyword: str) -> tuple[object, ...]:
        try:
            with captured_warnings():
                value = self._dataset.get(keyword)
        except Exception as error:  # noqa: BLE001  the parser meets arbitrary bytes here
            self._unreadable.add(keyword)
            self.warn(f"{keyword} cannot be read ({type(error).__name__}) and is not used.")
            return ()
        if value is None or isinstance(value, str | bytes):
            return (value,) if value else ()
        return tuple(value) if isinstance(value, Sequence) else (value,)


def _finite(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]  # whatever is not a number is refused here
    except (TypeError, ValueError, OverflowError):
        return None
    return number if isfinite(number) else None


def _quoted(value: object) -> str:
    text = str(value)
    return repr(text if len(text) <= _LONGEST_QUOTE else text[:_LONGEST_QUOTE] + "…")
