"""How long the window takes to its first picture, beside the bare viewer.

Run it: `python -m tests.bench.start_up`.

Two programs are started in turn, each in a process of its own: the bare viewer with the loop's
array added, and `annot view LOOP`. Both end when the canvas has shown the picture. Needs a screen
(xvfb-run will do). `--profile` prints where the time of one start goes.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 5

WATCH = """
import json, os, sys, time
import napari

def until_shown():
    from qtpy.QtWidgets import QApplication
    viewer = napari.current_viewer()
    canvas = viewer.window._qt_viewer.canvas.native
    shown = []
    canvas.frameSwapped.connect(lambda: shown.append(time.time()) if len(viewer.layers) else None)
    canvas.update()
    end = time.time() + 120
    while not shown and time.time() < end:
        QApplication.processEvents()
    print(json.dumps(shown[0]), flush=True)

napari.run = until_shown
"""
BARE = """
from annot.loops import LoopArray, open_loop
viewer = napari.Viewer()
viewer.add_image(LoopArray(open_loop(sys.argv[1])))
napari.run()
os._exit(0)
"""
OURS = """
from annot.cli import main
sys.argv = ["annot", "view", sys.argv[1]]
try:
    main.run()
finally:
    sys.stdout.flush()
    os._exit(0)
"""


def seconds_to_picture(code: str, loop: Path) -> float:
    """Start a program and return how long it took until its picture stood on the canvas."""
    began = time.time()
    environment = {**os.environ, "NAPARI_CONFIG": ""}
    answer = subprocess.run(
        [sys.executable, "-c", WATCH + code, str(loop)],
        capture_output=True,
        text=True,
        check=False,
        timeout=180,
        env=environment,
    )
    lines = answer.stdout.strip().splitlines()
    if not lines:
        raise SystemExit(answer.stderr)
    return float(json.loads(lines[-1])) - began


def main() -> None:
    """Print both medians and their ratio."""
    from synthetic_dicom import write_case

    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--profile", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        loop = write_case("xa_clean", folder, frames=24).path
        if asked.profile:
            profiled = "import cProfile, pstats; p = cProfile.Profile(); p.enable()\n"
            code = WATCH.replace("    print(json", "    p.disable()\n    print(json")
            code += "import atexit\n" + OURS.replace(
                "    os._exit",
                "    pstats.Stats(p).sort_stats('cumulative').print_stats(70)\n    os._exit",
            )
            subprocess.run([sys.executable, "-c", profiled + code, str(loop)], check=False)
            return
        for code in (BARE, OURS):
            seconds_to_picture(code, loop)  # warm caches
        pairs = [
            (seconds_to_picture(BARE, loop), seconds_to_picture(OURS, loop))
            for _ in range(asked.runs)
        ]
    bare, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
    ratio = statistics.median(one / other for other, one in pairs)
    words = f"bare viewer {bare:.2f} s, annot view {ours:.2f} s, median ratio {ratio:.2f}"
    print(f"{words}; pairs in s: {pairs}")  # noqa: T201  # a bench prints


if __name__ == "__main__":
    main()
