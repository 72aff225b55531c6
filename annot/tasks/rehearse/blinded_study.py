"""The demonstration of a blinded study: invented readers, one slip, and a store to look into."""

import json
import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from annot.errors import InputError
from annot.exports import write_whole
from annot.reads.package_file import PresentationPart
from annot.reads.protocol_file import shipped_text
from annot.reads.study_file import STUDY_FILE, StudyLoopPart
from annot.tasks.package_folder import open_package
from annot.tasks.reads_adjudicate import adjudicate
from annot.tasks.reads_assign import assign_readers
from annot.tasks.reads_collect import collect
from annot.tasks.reads_freeze import Freezing, Frozen, freeze
from annot.tasks.reads_key import KeyRing
from annot.tasks.reads_new import StudyPlan, new_study
from annot.tasks.reads_package import Handing, hand_out
from annot.tasks.reads_prepare import Preparation, prepare
from annot.tasks.reads_sign import sign
from annot.tasks.reads_study import open_study
from annot.tasks.reads_table import export_readings
from annot.tasks.rehearse.invented_reader import Fields, planned

if TYPE_CHECKING:
    from synthetic_dicom import Truth

CODE, LAB, THIRD = "HARBOUR-R", "demo-lab", "C"
READERS = ("A", "B")
LOOPS = {"us_045": 45.0, "us_135": 135.0}
# an invented slip of one reader on one loop, so that there is something to adjudicate
SLIP_READER, SLIP_LOOP, SLIP_PX = "B", "us_045", 25.0
PASSPHRASE = "only for the demonstration"
CHEAP = 1 << 14  # its key guards invented patients, so it need not be slow to try


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyRehearsal:
    """What the demonstration of a blinded study left behind.

    Attributes
    ----------
    folder, store : Path
        The study's, and its store.
    readings, final : Path
        Tables of every reading, and of the values that hold in the end.
    frozen : Frozen
    apart : tuple of str
        Why a third reader was asked.
    """

    folder: Path
    store: Path
    readings: Path
    final: Path
    frozen: Frozen
    apart: tuple[str, ...]


def rehearse_study(
    folder: Path, *, seed: int = 1, progress: Callable[[str], None] = lambda _: None
) -> StudyRehearsal:
    """Read the demonstration's echo loops blinded, by invented readers, to a frozen table.

    Parameters
    ----------
    folder : Path
        Where `rehearse` has written its loops.
    seed : int
        Of the readers' hands and of the assignment.
    """
    study = folder / "study"
    _clear(folder)
    ring = KeyRing(path=folder / "study.key.json", passphrase=PASSPHRASE, cost=CHEAP)
    protocol = folder / "study-protocol.yaml"
    write_whole(protocol, _protocol(), replaces=b"")
    plan = StudyPlan(folder=study, code=CODE, protocol=str(protocol), by=LAB)
    progress("making a blinded study")
    _, files = new_study(plan, [folder / f"{name}.dcm" for name in LOOPS], ring)
    for label, path in files.items():
        stated = Preparation(plane_deg=LOOPS[path.stem], confirm=True)
        prepare(open_study(study), [label], stated, by=LAB)
    assign_readers(open_study(study), READERS, ring, by=LAB, seed=seed)
    invented = _Readers(folder=folder, study=study, ring=ring, files=files, seed=seed)
    for reader in READERS:
        progress(f"reader {reader} reads blinded")
        invented.reads(reader)
    asked = adjudicate(open_study(study), third=THIRD, by=LAB)
    if asked.showings:
        progress(f"reader {THIRD} is asked")
        invented.reads(THIRD)
    readings, final = folder / "study-readings.csv", folder / "study-final.csv"
    export_readings(open_study(study), readings)
    frozen = freeze(open_study(study), Freezing(table=final, by=LAB))
    return StudyRehearsal(
        folder=study,
        store=study / "study.sqlite",
        readings=readings,
        final=final,
        frozen=frozen,
        apart=tuple(f"{one.key}: {one.why}" for one in asked.disputes),
    )


def _protocol() -> str:
    """Return the shipped planning protocol with more repeats and without a look at size rows."""
    text = shipped_text("closure-planning")
    for old, new in (
        ("name: closure-planning", "name: harbour-blinded"),
        ("another_size_row: true", "another_size_row: false"),
        ("hidden_repeat_share: 0.1", "hidden_repeat_share: 0.5"),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    return text


def _clear(folder: Path) -> None:
    """Take an earlier demonstration's own study away, and nothing else."""
    key, study = folder / "study.key.json", folder / "study"
    if not (study.exists() or key.exists()):
        return
    try:
        code = json.loads((study / STUDY_FILE).read_text(encoding="utf-8"))["code"]
    except (OSError, ValueError, KeyError):
        code = None
    if code != CODE:
        raise InputError(f"{study} is not the demonstration's own; name another folder (--out).")
    shutil.rmtree(study)
    key.unlink(missing_ok=True)
    for reader in (*READERS, THIRD):
        shutil.rmtree(folder / f"package-{reader}", ignore_errors=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Readers:
    """Invented readers, each with a hand of its own."""

    folder: Path
    study: Path
    ring: KeyRing
    files: dict[str, Path]
    seed: int

    def reads(self, reader: str) -> None:
        """Hand a reader's package out, read and sign every showing, and collect it."""
        out, hand = self.folder / f"package-{reader}", random.Random(f"{self.seed}{reader}")
        handing = Handing(reader=reader, out=out, by=LAB, encoding="explicit")
        hand_out(open_study(self.study), handing, self.ring)
        study, package = open_study(self.study), open_package(out)
        labels = {one.code: study.loop(one.loop) for one in study.presentations}
        for one in package.list.presentations:
            self._read(out, one, labels[one.code], reader, hand)
            sign(out, one.code, reader=reader)
        collect(open_study(self.study), out, by=LAB)

    def _read(
        self,
        out: Path,
        one: PresentationPart,
        loop: StudyLoopPart,
        reader: str,
        hand: random.Random,
    ) -> None:
        from synthetic_dicom import truth_from_json

        source = self.files[loop.label]
        truth = truth_from_json(source.with_suffix("").with_suffix(".truth.json").read_text())
        calipers = _drawn(truth, hand)
        if (reader, source.stem) == (SLIP_READER, SLIP_LOOP):
            calipers = [_slipped(part) for part in calipers]
        path = out / one.read
        content = json.loads(path.read_text(encoding="utf-8"))
        content["loops"][0] |= {
            "scale": {"kind": "header"},
            "conditions": {"rhythm": "sinus"},
            "calipers": calipers,
        }
        write_whole(path, json.dumps(content, indent=1) + "\n", replaces=b"{")


def _drawn(truth: "Truth", hand: random.Random) -> list[Fields]:
    """Draw every quantity twice, as the protocol asks; what an end is worth the repeats say."""
    found = []
    for repeat in (1, 2):
        for part in planned(truth, hand):
            del part["u_end_px"]
            found.append({**part, "id": f"{part['quantity']}-{repeat}", "repeat": repeat})
    return found


def _slipped(part: Fields) -> Fields:
    if part["quantity"] != "ostium_width":
        return part
    points: Any = part["points_px"]
    row, column = points[1]
    return {**part, "points_px": [points[0], [row, column + SLIP_PX]]}
