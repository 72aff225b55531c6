"""A row of a measurement table as it is read back: what later work may lean on."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredRow:
    """One measurement out of a table; only the first six fields must be there.

    Attributes
    ----------
    study, quantity, reader : str
        What was measured and who did.
    value, u : float
        Best estimate and standard uncertainty, in `unit`.
    unit : str
        ``mm``, ``mm2``, ``deg``, ``px`` or ``1``.
    line : int
        Line in the file, the header being line 1; 0 where there is no file.
    scale_id, object_id, system_id, depth_group, speed_group : str
        Rows with the same one share that error fully; empty where they share none.
    share_scale, share_object, share_system, share_depth, share_speed : float or None
        Signed parts of the variance that stand behind the five; None where not stated. Tables
        without `share_speed` count it in `share_other`.
    """

    study: str
    quantity: str
    reader: str
    value: float
    unit: str
    u: float
    line: int = 0
    loop: str = ""
    modality: str = ""
    primary_deg: float | None = None
    secondary_deg: float | None = None
    frame: int | None = None
    time_ms: float | None = None
    beat: int | None = None
    moment: str = ""
    view_deg: float | None = None
    repeat: int | None = None
    low: float | None = None
    high: float | None = None
    scale_kind: str = ""
    scale_id: str = ""
    object_id: str = ""
    system_id: str = ""
    depth_group: str = ""
    speed_group: str = ""
    share_scale: float | None = None
    share_object: float | None = None
    share_system: float | None = None
    share_ends: float | None = None
    share_depth: float | None = None
    share_speed: float | None = None
    share_tilt: float | None = None
    share_other: float | None = None
    conditions: str = ""
    origin: str = ""
    confirmed: bool | None = None
    overruled: str = ""
    warnings: str = ""
    protocol: str = ""
    caliper_id: str = ""
