"""What a protocol still asks for, view by view: data for command line, window and reports."""

from collections.abc import Iterable
from dataclasses import dataclass

from annot.vocabulary.protocol import Protocol, QuantityRule, View


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading as far as a protocol cares.

    Attributes
    ----------
    quantity, modality : str
    plane_deg, primary_deg, secondary_deg : float or None
        Of the loop it was taken on.
    repeat : int
    beat : int or None
    """

    quantity: str
    modality: str
    plane_deg: float | None = None
    primary_deg: float | None = None
    secondary_deg: float | None = None
    repeat: int = 1
    beat: int | None = None

    def shows(self, view: View) -> bool:
        """Whether it was taken in that view."""
        return view.matches(
            self.modality,
            plane_deg=self.plane_deg,
            primary_deg=self.primary_deg,
            secondary_deg=self.secondary_deg,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How far one quantity has come in one view.

    Attributes
    ----------
    repeats_wanted, repeats_read : int
        Distinct repeats.
    beats_wanted, beats_read : int
        Distinct beats of the repeat that has the fewest; one where beats are not told apart.
    required : bool
    """

    quantity: str
    view: View
    repeats_wanted: int
    repeats_read: int
    beats_wanted: int
    beats_read: int
    required: bool

    @property
    def complete(self) -> bool:
        """Whether nothing is missing here."""
        return self.repeats_read >= self.repeats_wanted and self.beats_read >= self.beats_wanted

    @property
    def missing(self) -> str:
        """What is missing in words, empty where nothing is."""
        parts = []
        if self.repeats_read < self.repeats_wanted:
            parts.append(f"{self.repeats_read} of {self.repeats_wanted} repeats")
        if self.beats_read < self.beats_wanted and self.repeats_read:
            parts.append(f"{self.beats_read} of {self.beats_wanted} beats")
        return ", ".join(parts)


def standings(protocol: Protocol, readings: Iterable[Reading]) -> tuple[Standing, ...]:
    """Return how far every quantity has come in every view, in the protocol's order."""
    taken = list(readings)
    return tuple(
        _standing(rule, view, taken) for rule in protocol.quantities for view in rule.views
    )


def unasked(protocol: Protocol, readings: Iterable[Reading]) -> tuple[Reading, ...]:
    """Return readings that no rule asks for: allowed, and worth saying."""
    rules = protocol.rules()
    return tuple(
        one
        for one in readings
        if one.quantity not in rules
        or not any(one.shows(view) for view in rules[one.quantity].views)
    )


def _standing(rule: QuantityRule, view: View, readings: list[Reading]) -> Standing:
    here = [one for one in readings if one.quantity == rule.quantity and one.shows(view)]
    beats: dict[int, set[int | None]] = {}
    for one in here:
        beats.setdefault(one.repeat, set()).add(one.beat)
    return Standing(
        quantity=rule.quantity,
        view=view,
        repeats_wanted=rule.repeats,
        repeats_read=len(beats),
        beats_wanted=rule.beats,
        beats_read=min((len(one) for one in beats.values()), default=0),
        required=rule.required,
    )
