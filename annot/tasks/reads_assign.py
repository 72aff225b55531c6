"""Assign a study's loops to readers: a randomisation that is kept, and the key alone repeats."""

import secrets
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from annot.errors import InputError
from annot.reads.assignment import assign
from annot.reads.key_file import keyed, keyed_code
from annot.reads.study_file import StudyFile, filled
from annot.tasks.reads_key import KeyRing
from annot.tasks.reads_study import ASSIGNMENT_KEY, ASSIGNMENT_KIND, Study, write_mirror

MOST_SEED = 2**32


def assign_readers(
    study: Study, readers: Sequence[str], ring: KeyRing, *, by: str, seed: int | None = None
) -> Study:
    """Draw every reader's list and keep it in the store.

    The draw hangs on the seed and on the key's secret: who knows the seed alone can foresee
    neither the order nor which showings are repeats. The same seed and key give the same lists.

    Parameters
    ----------
    study : Study
    readers : sequence of str
        Their codes.
    ring : KeyRing
    by : str
        Who assigns.
    seed : int, optional
        From 0 to 2^32 - 1; drawn if not given. Kept either way.

    Raises
    ------
    InputError
        If the study is assigned already, or a reader's code is at fault.
    """
    if study.presentations:
        raise InputError(
            f"Study {study.file.code} is assigned already, to {', '.join(study.file.readers)}; "
            "other readers need a study of their own."
        )
    drawn = secrets.randbelow(MOST_SEED) if seed is None else seed
    file = filled(
        StudyFile,
        {**study.file.model_dump(), "seed": drawn, "readers": tuple(readers)},
        name="the assignment",
    )
    key = ring.opened(study.file.code)
    loops = sorted(one.fingerprint for one in study.file.loops)
    state = keyed(key.secret, "assignment", str(drawn))
    presentations = assign(
        loops,
        readers,
        share=study.protocol.blinding.hidden_repeat_share,
        rng=np.random.default_rng(int.from_bytes(state)),
        code_of=lambda reader, loop, showing: keyed_code(key.secret, reader, loop, str(showing)),
    )
    body = {
        "seed": drawn,
        "readers": list(readers),
        "hidden_repeat_share": study.protocol.blinding.hidden_repeat_share,
        "presentations": [one.facts() for one in presentations],
    }
    study.note(ASSIGNMENT_KIND, ASSIGNMENT_KEY, body, by=by)
    result = replace(
        study,
        file=file,
        presentations=presentations,
        versions={**study.versions, (ASSIGNMENT_KIND, ASSIGNMENT_KEY): 1},
    )
    write_mirror(result)
    return result
