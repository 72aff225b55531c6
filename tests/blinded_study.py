"""A small study read blinded: synthetic loops, invented readers, packages that come back signed."""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

from annot.tasks.package_folder import open_package
from annot.tasks.reads_assign import assign_readers
from annot.tasks.reads_key import KeyRing
from annot.tasks.reads_new import StudyPlan, new_study
from annot.tasks.reads_package import Handing, hand_out
from annot.tasks.reads_prepare import Preparation, prepare
from annot.tasks.reads_sign import sign
from annot.tasks.reads_study import Study, open_study
from synthetic_dicom.cases import write_case

CODE, SEED, LAB = "HARBOUR", 3, "lab"
HIDE = "header, other_reads, repeats"
PROTOCOL = """\
annot_protocol: 1
name: harbour
version: 1
title: An invented study
size_by: largest
landing_zone_inside_mm: 10
conditions: [rhythm]
adjudication: {apart_mm: 2, final: FINAL}
blinding: {hide: [HIDE], hidden_repeat_share: SHARE}
views:
  echo_any: {modality: US}
quantities:
  landing_zone_width:
    definition: Square to the neck's axis.
    source: invented
    views: [echo_any]
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lab:
    """A study's folder with its key, and where packages go."""

    folder: Path
    ring: KeyRing
    packages: Path

    def study(self) -> Study:
        return open_study(self.folder)

    def package(self, reader: str, *, name: str = "") -> Path:
        out = self.packages / (name or reader)
        reason = "once more" if name else ""
        hand_out(self.study(), Handing(reader=reader, out=out, by=LAB, reason=reason), self.ring)
        return out


def make_lab(
    folder: Path,
    *,
    readers: tuple[str, ...] = ("A", "B"),
    share: float = 0.5,
    final: str = "adjudicator",
    planes: int = 2,
    store: str = "study.sqlite",
    hide: str = HIDE,
) -> Lab:
    """Make, prepare and assign a study of so many echo planes of one invented patient."""
    loops, packages = folder / "loops", folder / "out"
    packages.mkdir(parents=True)
    for name in ("us_000", "us_045", "us_090", "us_135")[:planes]:
        write_case(name, loops, frames=2, encoding="explicit")
    protocol = folder / "harbour.yaml"
    text = PROTOCOL.replace("SHARE", str(share)).replace("FINAL", final)
    protocol.write_text(text.replace("HIDE", hide))
    ring = KeyRing(path=folder / "key.json", passphrase="twelve letters", cost=1 << 14)
    plan = StudyPlan(
        folder=folder / "study", code=CODE, protocol=str(protocol), by=LAB, store=store
    )
    study, _ = new_study(plan, [loops], ring)
    labels = [one.label for one in study.file.loops]
    study = open_study(plan.folder)
    study = prepare(study, labels, Preparation(plane_unknown=True, confirm=True), by=LAB)
    assign_readers(open_study(plan.folder), readers, ring, by=LAB, seed=SEED)
    return Lab(folder=plan.folder, ring=ring, packages=packages)


def drawn(
    code: str, *, longer_px: float = 0.0, frame: int = 0, middle: tuple[float, float] = (200, 300)
) -> list[dict[str, object]]:
    """Return one width, drawn through the middle of an echo sector."""
    row, column = middle
    half = 60.0 + longer_px / 2
    return [
        {
            "id": f"lz-{code}",
            "quantity": "landing_zone_width",
            "frame": frame,
            "points_px": [[row, column - half], [row, column + half]],
            "tilt_deg": 5,
        }
    ]


def write_read(package: Path, code: str, calipers: list[dict[str, object]], **fields: object):
    """Put calipers into a package's read as a window would; return its path."""
    path = package / f"{code}.read.json"
    content = json.loads(path.read_text())
    content["loops"][0] |= {"scale": {"kind": "header"}, "calipers": calipers, **fields}
    path.write_text(json.dumps(content, indent=1))
    return path


def read_all(package: Path, longer_px: dict[str, float] | float = 0.0) -> list[str]:
    """Draw and sign every showing of a package; return the codes in their order."""
    listed = open_package(package).list
    codes = [one.code for one in sorted(listed.presentations, key=lambda one: one.order)]
    for code in codes:
        longer = longer_px if isinstance(longer_px, float) else longer_px.get(code, 0.0)
        write_read(package, code, drawn(code, longer_px=longer))
        sign(package, code, reader=listed.reader)
    return codes


def copied(package: Path, name: str) -> Path:
    """Return a copy of a package, to be spoiled; its files can be written."""
    target = package.with_name(name)
    shutil.copytree(package, target)
    for path in target.iterdir():
        path.chmod(0o644)
    return target
