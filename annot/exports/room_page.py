"""One page per room: checks, charts, pictures and due dates, in one file that needs no network."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from annot.vocabulary import CAUTION, SCOPE_OF_INTERVAL

if TYPE_CHECKING:
    from jinja2 import Template


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of texts with a title."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A figure: SVG is put into the page as an image, PNG too; `words` describe it."""

    data: bytes
    kind: str
    words: str
    note: str = ""

    @property
    def source(self) -> str:
        """The picture as a data URL."""
        form = "svg+xml" if self.kind == "svg" else "png"
        return f"data:image/{form};base64,{b64encode(self.data).decode('ascii')}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomPage:
    """What one room's page shows."""

    room: str
    made: str
    verdict: str
    facts: tuple[str, ...]
    due: Table
    last: Table | None
    charts: Sequence[Picture]
    pictures: Sequence[Picture]
    history: Table
    warnings: tuple[str, ...] = ()


def room_html(page: RoomPage) -> str:
    """Return the page; everything that a person wrote is escaped."""
    return _template().render(page=page, cautions=(CAUTION, SCOPE_OF_INTERVAL))


@lru_cache(maxsize=1)
def _template() -> "Template":
    from jinja2 import Environment, StrictUndefined

    text = (files("annot.exports") / "room.html.jinja").read_text(encoding="utf-8")
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return made.from_string(text)
