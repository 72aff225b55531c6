"""Whether the Qt binding at hand is fit to be measured with."""

import sys

from qtpy.QtCore import QObject

CALLS = 32


def binding_fault() -> str:
    """Say what is wrong with the Qt binding, empty if nothing is.

    Some builds of PySide6 (6.12.0, seen) are made for Pythons whose None lives for ever, and
    lose a reference to it with every call. Below Python 3.12 None is counted, and after some
    thousand calls the whole program dies, and with it what was not saved.
    """
    probe = QObject()
    before = sys.getrefcount(None)
    for _ in range(CALLS):
        probe.setObjectName("probe")
    lost = before - sys.getrefcount(None)
    if lost < CALLS // 2:
        return ""
    return (
        "This build of PySide6 does not suit this Python and will crash: save often, and install "
        'PySide6_Essentials ">=6.11.2,<6.12" or use Python 3.12.'
    )
