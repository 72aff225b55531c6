"""Whether play keeps the stored duration in the real window, and how many frames it shows.

Run it: `python -m tests.bench.play_in_window`; it needs a screen (xvfb-run will do). Loops of
512×512 grey and 1016×708 colour at 15 and 30 frames per second play for some rounds; printed is
the time that a stored second took, by least squares over every frame shown, and the frames shown
per second.
"""

import argparse
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from pydicom import dcmread

from tests.bench.loops import LOOPS, BenchLoop, write_bench_loop

SECONDS, FRAMES = 20.0, 45
RATES = (15.0, 30.0)


def timed_loop(folder: Path, loop: BenchLoop, rate: float) -> Path:
    """Write a loop of the bench at a rate."""
    written = write_bench_loop(folder, loop, frames=FRAMES)
    dataset = dcmread(written)
    dataset.FrameTime = f"{1000.0 / rate:.6g}"
    dataset.FrameIncrementPointer = 0x00181063
    path = folder / f"{loop.tail}-{rate:g}.dcm"
    dataset.save_as(path)
    return path


def spin(seconds: float) -> None:
    """Let the window run."""
    from qtpy.QtWidgets import QApplication

    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        QApplication.processEvents()
        time.sleep(0.0005)


def played(scene: Any, seconds: float) -> tuple[float, float, set[int]]:
    """Play, and return time per stored time, frames shown per second, and steps between them."""
    playback = scene.dock.parts.play.playback
    log: list[tuple[float, int]] = []
    playback.play_or_pause()
    spin(3.0)  # until the pace has settled

    def note() -> None:
        log.append((1000.0 * time.perf_counter(), int(scene.viewer.dims.current_step[0])))

    scene.viewer.dims.events.current_step.connect(note)
    spin(seconds)
    scene.viewer.dims.events.current_step.disconnect(note)
    playback.play_or_pause()
    times = playback.player.times
    laps, stored = 0, []
    for (_, before), (_, frame) in pairwise([(0.0, 0), *log]):
        laps += frame < before - FRAMES // 2
        stored.append(laps * times.duration_ms + times.starts_ms[frame])
    # least squares over all frames shown: stored time as a function of time
    pace = float(np.polyfit([now for now, _ in log], stored, 1)[0])
    steps = {(one[1] - other[1]) % FRAMES for other, one in pairwise(log)}
    rate = 1000.0 * (len(log) - 1) / (log[-1][0] - log[0][0])
    return 1.0 / pace, rate, steps


def main() -> None:
    """Measure and print."""
    from napari_annot.picture import Scene

    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=SECONDS)
    seconds = parser.parse_args().seconds
    grey = next(one for one in LOOPS if one.shape[1:] == (512, 512))
    colour = next(one for one in LOOPS if len(one.shape) == 4)
    with tempfile.TemporaryDirectory() as folder:
        for loop in (grey, colour):
            for rate in RATES:
                scene = Scene()
                scene.open([timed_loop(Path(folder), loop, rate)])
                share, shown, steps = played(scene, seconds)
                size = "×".join(str(one) for one in loop.shape[1:])
                print(  # noqa: T201  # a bench prints
                    f"{size} at {rate:g}/s: takes {100 * share:.2f} % of the stored duration, "
                    f"shows {shown:.1f} frames/s, steps of {sorted(steps)} frames"
                )
                scene.close()


if __name__ == "__main__":
    main()
