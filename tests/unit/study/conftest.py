"""A small study, made once and copied for each test that changes it."""

import shutil
from dataclasses import replace

import pytest

from annot.tasks.reads_collect import collect
from tests.blinded_study import LAB, Lab, make_lab, read_all


@pytest.fixture(scope="session")
def handed_out(tmp_path_factory) -> Lab:
    """A study of two loops whose readers A and B have their packages, signed throughout."""
    lab = make_lab(tmp_path_factory.mktemp("handed-out"))
    read_all(lab.package("A"))
    read_all(lab.package("B"))
    return lab


@pytest.fixture
def lab(handed_out, tmp_path) -> Lab:
    return copy_of(handed_out, tmp_path)


@pytest.fixture(scope="session")
def collected_once(handed_out, tmp_path_factory) -> Lab:
    lab = copy_of(handed_out, tmp_path_factory.mktemp("collected"))
    for reader in ("A", "B"):
        collect(lab.study(), lab.packages / reader, by=LAB)
    return lab


@pytest.fixture
def collected(collected_once, tmp_path) -> Lab:
    return copy_of(collected_once, tmp_path)


def copy_of(lab: Lab, folder) -> Lab:
    shutil.copytree(lab.folder.parent, folder, dirs_exist_ok=True)
    ring = replace(lab.ring, path=folder / lab.ring.path.name)
    return Lab(folder=folder / "study", ring=ring, packages=folder / "out")
