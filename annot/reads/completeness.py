"""What a protocol still asks for, view by view: data for command line, window and reports."""

from collections.abc import Iterable
from dataclasses import dataclass

from annot.vocabulary.protocol import Moment, Protocol, QuantityRule, View


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
    moment : Moment or None
        Of the cycle; None where nobody stated one that a protocol knows.
    confirmed : bool
        Whether a person stands behind it; what a program proposed does not count until then.
    """

    quantity: str
    modality: str
    plane_deg: float | None = None
    primary_deg: float | None = None
    secondary_deg: float | None = None
    repeat: int = 1
    beat: int | None = None
    moment: Moment | None = None
    confirmed: bool = True

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
    moment : Moment
        At which it is wanted; readings of another moment, or of none, do not count.
    not_counted : int
        Readings in this view that were not taken at that moment or are not confirmed.
    required : bool
    """

    quantity: str
    view: View
    repeats_wanted: int
    repeats_read: int
    beats_wanted: int
    beats_read: int
    moment: Moment
    not_counted: int
    required: bool

    @property
    def complete(self) -> bool:
        """Whether nothing is missing here."""
        return self.repeats_read >= self.repeats_wanted and self.beats_read >= self.beats_wanted

    @property
    def _why_not(self) -> str:
        at = "" if self.moment == "any" else f"not stated as taken at '{self.moment}', or "
        return f"{at}not confirmed"

    @property
    def missing(self) -> str:
        """What is missing in words, empty where nothing is."""
        parts = []
        if self.repeats_read < self.repeats_wanted:
            parts.append(f"{self.repeats_read} of {self.repeats_wanted} repeats")
        if self.beats_read < self.beats_wanted and self.repeats_read:
            parts.append(f"{self.beats_read} of {self.beats_wanted} beats")
        if parts and self.not_counted:
            parts.append(f"{self.not_counted} not counted: {self._why_not}")
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
    counted = [one for one in here if one.confirmed and rule.moment in ("any", one.moment)]
    beats: dict[int, set[int | None]] = {}
    for one in counted:
        beats.setdefault(one.repeat, set()).add(one.beat)
    return Standing(
        quantity=rule.quantity,
        view=view,
        repeats_wanted=rule.repeats,
        repeats_read=len(beats),
        beats_wanted=rule.beats,
        beats_read=min((len(one) for one in beats.values()), default=0),
        moment=rule.moment,
        not_counted=len(here) - len(counted),
        required=rule.required,
    )
