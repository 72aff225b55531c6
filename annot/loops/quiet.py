"""Keep the DICOM library's own warnings off the screen, and let us look at them.

Python's warning filters belong to the whole process, so one lock keeps our own threads from
restoring each other's filters in the wrong order.
"""

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

_FILTERS = threading.RLock()


@contextmanager
def captured_warnings() -> Iterator[list[warnings.WarningMessage]]:
    """Collect every warning raised inside the block instead of showing it."""
    with _FILTERS, warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        yield seen
