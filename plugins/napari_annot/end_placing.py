"""How well a reader places one end of a caliper, stated once for the whole read."""

from dataclasses import dataclass

from annot.tasks.read import Read


@dataclass(frozen=True, slots=True, kw_only=True)
class EndPlacing:
    """Standard uncertainty of placing one end, in px or in mm; neither takes the default."""

    u_px: float | None = None
    u_mm: float | None = None

    @classmethod
    def of(cls, read: Read) -> "EndPlacing":
        """Return what all calipers of a read state alike; nothing where they differ."""
        stated = {(one.u_end_px, one.u_end_mm) for loop in read.loops for one in loop.calipers}
        if len(stated) != 1:
            return cls()
        ((u_px, u_mm),) = stated
        return cls(u_px=u_px, u_mm=u_mm)
