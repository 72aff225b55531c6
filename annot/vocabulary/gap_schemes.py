"""Named schemes that class a residual gap; where a boundary belongs is part of the scheme."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GapScheme:
    """Classes of a gap's width, from narrow to wide.

    Attributes
    ----------
    name : str
    bounds_mm : tuple of float
        Rising boundaries between neighbouring classes.
    at_bound : {"below", "above"}
        To which class a width belongs that lies exactly on a boundary.
    classes : tuple of str
        One more than boundaries.
    source : str
    """

    name: str
    bounds_mm: tuple[float, ...]
    at_bound: str
    classes: tuple[str, ...]
    source: str

    def class_of(self, width_mm: float) -> str:
        """Return the class of a width in mm; what is not positive is the first class."""
        below = self.at_bound == "below"
        passed = sum(width_mm > b if below else width_mm >= b for b in self.bounds_mm)
        return self.classes[passed]

    @property
    def rule(self) -> str:
        """The boundary rule in words, as a record needs it."""
        lower, beyond = (
            ("up to and with", "wider") if self.at_bound == "below" else ("below", "from there on")
        )
        parts = [
            f"{name}: {lower} {bound:g} mm"
            for name, bound in zip(self.classes, self.bounds_mm, strict=False)
        ]
        return f"{'; '.join(parts)}; {self.classes[-1]}: {beyond}"


GAP_SCHEMES = {
    one.name: one
    for one in (
        GapScheme(
            name="registry",
            bounds_mm=(0.0, 5.0),
            at_bound="below",
            classes=("none", "small", "large"),
            source="Alkhouli 2022 JACC Clin EP: 0 none, > 0 to 5 small, > 5 large",
        ),
        GapScheme(
            name="consensus",
            bounds_mm=(5.0,),
            at_bound="above",
            classes=("no failure", "failure"),
            source="Tzikas 2016/17 as quoted in a later study: failure from 5 mm on",
        ),
    )
}
