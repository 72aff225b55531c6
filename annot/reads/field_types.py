"""The types that fields of a read file have: strict numbers, points, and the part itself."""

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


def _whole(value: object) -> object:
    """Take 3.0 for 3, as JSON does; what is no whole number is refused by the strict type."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


# Strict: neither "2.0" nor true is a number, though Python would make one of them.
Number = Annotated[float, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]
Point = tuple[Number, Number]
# No size, length or uncertainty of this field is larger; beyond it arithmetic would overflow.
Positive = Annotated[Number, Field(gt=0, le=1e6)]
# As a fraction: 0.05 is 5 %. Beyond a half, one in fifty scales drawn would be negative.
PartOfOne = Annotated[
    Number,
    Field(ge=1e-6, le=0.5, description="a fraction: 0.05 is 5 %"),
]
NotNegative = Annotated[Number, Field(ge=0, le=1e6)]
FromZero = Annotated[int, Field(strict=True, ge=0), BeforeValidator(_whole)]
FromOne = Annotated[int, Field(strict=True, ge=1), BeforeValidator(_whole)]
Tilt = Annotated[Number, Field(ge=0, le=60)]


class Part(BaseModel):
    """A piece of the file: unknown fields refused, numbers finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
