"""Synthetic loops with their truth, rendered once for all tests of this folder."""

from collections.abc import Callable

import pytest

from synthetic_dicom import WrittenLoop, write_case


@pytest.fixture(scope="session")
def loop_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., WrittenLoop]:
    folder = tmp_path_factory.mktemp("loops")
    made: dict[tuple[str, int], WrittenLoop] = {}

    def make(name: str, seed: int = 1, frames: int | None = 9) -> WrittenLoop:
        key = (name, seed)
        if key not in made:
            made[key] = write_case(name, folder / str(seed), seed=seed, frames=frames)
        return made[key]

    return make
