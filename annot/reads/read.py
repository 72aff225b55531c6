"""A read: who measured what, on which loops, under which scale. Frozen, without any identity."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from annot.calibration import ScaleRequest
from annot.geometry import PixelPoint
from annot.measurement import Caliper
from annot.measurement.placed_landmark import PlacedLandmark
from annot.vocabulary.protocol import Condition, Protocol

NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What changes the size by a step of a chart; "not stated" is an answer and is printed.

    Attributes
    ----------
    loading : str
        Of the heart, in words.
    rhythm : str
    filling : str
        Of the appendage with contrast, in words.
    moment : str
        Of the cycle at which the loop is read.
    atrial_pressure_mmhg : float or None
        Mean pressure in the left atrium.
    """

    loading: str = NOT_STATED
    rhythm: str = NOT_STATED
    filling: str = NOT_STATED
    moment: str = NOT_STATED
    atrial_pressure_mmhg: float | None = None

    @property
    def words(self) -> str:
        """All of them, what is not stated included."""
        pressure = self.atrial_pressure_mmhg
        words = NOT_STATED if pressure is None else f"{pressure:g} mmHg"
        return (
            f"loading: {self.loading}; rhythm: {self.rhythm}; filling: {self.filling}; "
            f"moment: {self.moment}; atrial pressure: {words}"
        )

    def unstated(self, asked: Iterable[Condition]) -> tuple[Condition, ...]:
        """Return which of the conditions asked for nobody stated; a pressure states loading."""
        stated: dict[Condition, str] = {
            "loading": NOT_STATED if self.atrial_pressure_mmhg is None else "by pressure",
        }
        return tuple(
            name
            for name in asked
            if getattr(self, name) == NOT_STATED and stated.get(name, NOT_STATED) == NOT_STATED
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewOverride:
    """View angles that the file lacks or has wrong; None keeps the file's."""

    primary_deg: float | None = None
    secondary_deg: float | None = None
    plane_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Implant:
    """The implanted device as far as a compression needs it: its nominal width ± tolerance."""

    nominal_width_mm: float
    tolerance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopRead:
    """One loop's part of a read.

    `file` is the path as written in the read, relative to the read file; `sop_instance_uid` is
    checked against the loop where it is given. `apex` is where an echo sector's beams start;
    without it the sector's edges are fitted.
    """

    file: str
    sop_instance_uid: str | None = None
    conditions: Conditions = Conditions()
    view: ViewOverride = ViewOverride()
    apex: PixelPoint | None = None
    scale: ScaleRequest | None = None
    calipers: tuple[Caliper, ...] = ()
    landmarks: tuple[PlacedLandmark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One reader's read of one study.

    `protocol` is the name or file as written; `rules` what it says, where it has been looked up.
    """

    reader: str
    loops: tuple[LoopRead, ...]
    protocol: str = "closure-planning"
    study: str | None = None
    implant: Implant | None = None
    # two reads are equal by what was written; the rules follow from the protocol's name
    rules: Protocol | None = field(default=None, compare=False)
