"""Keep the DICOM library's own warnings off the screen and out of logs.

They quote values, and a value may be a person's name. Python's warning filters belong to the whole
process, so one lock keeps our own threads from restoring each other's filters in the wrong order.
"""

import logging
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

_FILTERS = threading.RLock()
_LIBRARY_LOG = logging.getLogger("pydicom")


@contextmanager
def captured_warnings() -> Iterator[list[warnings.WarningMessage]]:
    """Collect every warning raised inside the block instead of showing or logging it."""
    with _FILTERS, warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        own = threading.get_ident()

        def from_elsewhere(record: logging.LogRecord) -> bool:
            return record.thread != own

        _LIBRARY_LOG.addFilter(from_elsewhere)
        try:
            yield seen
        finally:
            _LIBRARY_LOG.removeFilter(from_elsewhere)
