"""How the loop on show is shown, in words: what the file offers and what was chosen. No Qt."""

from dataclasses import dataclass

from annot.tasks.open import DisplayChoice, LookupTable, Loop, Window

LOOKING_ONLY = (
    "For looking only: scales, calipers and tables use the stored pixels, whatever is chosen here."
)
AS_THE_FILE_ASKS = DisplayChoice()
WHOLE_RANGE, AS_STORED = ("", "all stored values"), ("", "colours as stored")


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayWords:
    """What the panel offers for the loop on show.

    Attributes
    ----------
    greys
        (key, words) of each way to spread greys; the key of a stored one is its place.
    choice
        What was chosen.
    shutter, mask, swap
        Whether there is a shutter, a mask, and greys that can be swapped.
    notes
        What of the file's wishes is not carried out.
    """

    greys: tuple[tuple[str, str], ...] = (WHOLE_RANGE,)
    choice: DisplayChoice = AS_THE_FILE_ASKS
    shutter: bool = False
    mask: bool = False
    swap: bool = False
    notes: tuple[str, ...] = ()

    @property
    def chosen_greys(self) -> str:
        """The key of the greys that are shown."""
        place = "" if self.choice.greys is None else str(self.choice.greys)
        return place if place in dict(self.greys) else WHOLE_RANGE[0]


def display_words(loop: Loop, choice: DisplayChoice) -> DisplayWords:
    """Return what the file of a loop offers for looking at it."""
    display, colour = loop.display, loop.header.colour
    stored = ((str(place), _title(place, one)) for place, one in enumerate(display.choices))
    return DisplayWords(
        greys=(AS_STORED,) if colour else (*stored, WHOLE_RANGE),
        choice=choice,
        shutter=display.shutter is not None,
        mask=bool(loop.masks) and not colour,
        swap=not colour,
        notes=display.notes,
    )


def _title(place: int, offered: Window | LookupTable) -> str:
    """Return for instance 'soft (centre 40, width 400)'; stored names come first."""
    if isinstance(offered, LookupTable):
        return f"{offered.name or place + 1} (table)"
    curve = ", curved" if offered.function == "SIGMOID" else ""
    named = offered.name or f"window {place + 1}"
    return f"{named} (centre {offered.centre:g}, width {offered.width:g}{curve})"


def altered_words(loop: Loop, choice: DisplayChoice) -> str:
    """Say how the picture differs from the stored pixels beyond its greys; empty if it does not."""
    words = display_words(loop, choice)
    ways = (
        (words.mask and choice.subtracted, "subtracted"),
        (words.swap and choice.inverted, "dark and light swapped"),
        (words.shutter and choice.shuttered, "under its shutter"),
    )
    altered = [way for holds, way in ways if holds]
    return f"shown {', '.join(altered)}; measured on stored pixels" if altered else ""
