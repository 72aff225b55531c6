"""What was drawn for a quantity, and points of their own name, as the read file has them."""

from typing import Annotated, Literal

from pydantic import Field

from annot.reads.field_types import Flag, FromOne, FromZero, Number, Part, Point, Positive, Tilt


class CaliperPart(Part):
    """What was drawn for one quantity on one frame."""

    id: str = Field(min_length=1)
    quantity: str
    frame: FromZero
    points_px: list[Point] = Field(min_length=2)
    view_deg: Annotated[Number, Field(ge=0, lt=180)] | None = None
    repeat: FromOne = 1
    beat: FromZero | None = None
    moment: str | None = None
    u_end_mm: Positive | None = None
    u_end_px: Positive | None = None
    tilt_deg: Tilt | None = None
    origin: Literal["drawn", "tracked", "refined"] = "drawn"
    confirmed: Flag = True
    note: str = ""


class LandmarkPart(Part):
    """A named point, or an axis's two, on one frame."""

    name: str
    frame: FromZero
    points_px: list[Point] = Field(min_length=1, max_length=2)
    u_px: Positive | None = None
