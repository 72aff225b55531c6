"""A signed line of a hand-over list: frozen, without any identity but the code a person goes by."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff:
    """One line as it was signed.

    Attributes
    ----------
    code, topic, text, protocol : str
        Of the line as it stood then.
    by : str
        The code that the person goes by.
    at : datetime
        With its zone; kept in UTC.
    word : str
        What the signature means, in the person's own word.
    """

    code: str
    topic: str
    text: str
    protocol: str
    by: str
    at: datetime
    word: str
