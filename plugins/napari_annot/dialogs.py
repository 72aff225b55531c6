"""Asking for files, and before work is lost."""

from datetime import datetime
from pathlib import Path
from typing import Literal

from qtpy.QtWidgets import QFileDialog, QInputDialog, QMessageBox, QWidget

from annot.reads.signed_file import MEANING

READ_FILES, TABLE_FILES = "Read files (*.json)", "Tables (*.csv)"
PROTOCOLS = "Protocols (*.yaml *.yml)"


def ask_loops(parent: QWidget) -> list[Path]:
    """Return the chosen files, any of them: DICOM files often have no ending."""
    names, _ = QFileDialog.getOpenFileNames(parent, "Open DICOM loops")
    return [Path(name) for name in names]


def ask_folder(parent: QWidget) -> list[Path]:
    """Return the chosen folder, alone in a list."""
    name = QFileDialog.getExistingDirectory(parent, "Open a folder of DICOM loops")
    return [Path(name)] if name else []


def ask_read(parent: QWidget) -> Path | None:
    """Return the read file to load."""
    name, _ = QFileDialog.getOpenFileName(parent, "Load a read", filter=READ_FILES)
    return Path(name) if name else None


def ask_new_read(parent: QWidget, present: Path | None) -> Path | None:
    """Return where to save the read."""
    start = str(present or "read.json")
    name, _ = QFileDialog.getSaveFileName(parent, "Save the read", start, READ_FILES)
    return _with_ending(name, ".json") if name else None


def ask_new_table(parent: QWidget) -> Path | None:
    """Return where to write the table."""
    name, _ = QFileDialog.getSaveFileName(parent, "Export the table", "table.csv", TABLE_FILES)
    return _with_ending(name, ".csv") if name else None


def ask_chart(parent: QWidget) -> Path | None:
    """Return the size chart to use."""
    name, _ = QFileDialog.getOpenFileName(parent, "Choose a size chart", filter=TABLE_FILES)
    return Path(name) if name else None


def ask_protocol(parent: QWidget) -> Path | None:
    """Return the protocol file to read by."""
    name, _ = QFileDialog.getOpenFileName(parent, "Choose a protocol", filter=PROTOCOLS)
    return Path(name) if name else None


def may_drop(parent: QWidget) -> bool:
    """Ask before unsaved work is replaced."""
    answer = QMessageBox.question(
        parent, "Unsaved measurements", "What was drawn is not saved. Load another read anyway?"
    )
    return bool(answer == QMessageBox.StandardButton.Yes)


Closing = Literal["save", "discard", "stay"]


def before_closing(parent: QWidget) -> Closing:
    """Ask what becomes of unsaved work before the window closes."""
    button = QMessageBox.StandardButton
    answer = QMessageBox.question(
        parent,
        "Unsaved measurements",
        "What was drawn is not saved. Save it before closing?",
        button.Save | button.Discard | button.Cancel,
        button.Save,
    )
    answers: dict[QMessageBox.StandardButton, Closing] = {
        button.Save: "save",
        button.Discard: "discard",
    }
    return answers.get(answer, "stay")


def ask_seat(parent: QWidget, fault: str = "") -> str | None:
    """Ask who sits down in a blinded seat; None where nobody does."""
    words = "Blinded read. Your reader's code:"
    code, given = QInputDialog.getText(
        parent, "Who reads?", f"{fault}\n\n{words}" if fault else words
    )
    return code.strip() if given else None


def signs(parent: QWidget) -> bool:
    """Ask whether the reader stands behind a case; nothing is signed by a Return too many."""
    box = QMessageBox(parent)
    box.setWindowTitle("Sign")
    box.setText(f"Sign this case: \u201c{MEANING}\u201d?")
    box.setInformativeText("It is closed then: only the laboratory amends it, with a reason.")
    yes = box.addButton(MEANING, QMessageBox.ButtonRole.AcceptRole)
    box.setDefaultButton(box.addButton(QMessageBox.StandardButton.Cancel))
    box.exec()
    return box.clickedButton() is yes


def ask_why_unreadable(parent: QWidget) -> str | None:
    """Ask why a case cannot be measured; None where it can."""
    reason, given = QInputDialog.getText(
        parent, "Not readable", "Why can this case not be measured? It is signed and closed then."
    )
    return reason.strip() if given else None


def takes_up(parent: QWidget, kept: Path) -> bool:
    """Ask whether unsaved work that was kept is to be taken up."""
    when = datetime.fromtimestamp(kept.stat().st_mtime).astimezone()
    answer = QMessageBox.question(
        parent,
        "Unsaved work found",
        f"Unsaved work on this read was kept on {when:%Y-%m-%d at %H:%M}. Take it up? "
        "If not, your next change replaces it.",
    )
    return bool(answer == QMessageBox.StandardButton.Yes)


def _with_ending(name: str, ending: str) -> Path:
    """Return a path with an ending where a person gave none and no file of that name is meant."""
    path = Path(name)
    return path if path.suffix or path.exists() else path.with_suffix(ending)
