"""Synthetic loops with known truth, for trying the tools without anybody's pictures."""

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from annot.tasks.open import open_loop
from napari_annot.picture_layer import picture_of
from napari_annot.reader import LayerData


def xray_catheter() -> list[LayerData]:
    """Return an X-ray loop with a catheter of 2.00 mm beside the appendage."""
    return _sample("xa_clean")


def xray_sphere() -> list[LayerData]:
    """Return an X-ray loop with a sphere of 10 mm."""
    return _sample("xa_sphere")


def echo_plane() -> list[LayerData]:
    """Return an echo loop at 45 degrees with one calibrated region."""
    return _sample("us_045")


def _sample(name: str) -> list[LayerData]:
    from synthetic_dicom import write_case

    return [picture_of(open_loop(write_case(name, _folder()).path))]


@cache
def _folder() -> Path:
    """Return a folder that lives as long as the program: frames are read from it when shown."""
    folder = Path(tempfile.mkdtemp(prefix="annot-samples-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
