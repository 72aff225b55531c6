"""One reader as a program of its own: enters readings and corrections, and may be killed."""

import random
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime

from annot.store import Intent, Query, Record, Store, SupersededError, connect

STUDY, TALLY = "S", "tally"
CORRECTED_EVERY, COUNTED_EVERY = 7, 10


def main() -> None:
    url, reader, loops, pause_s = sys.argv[1], sys.argv[2], int(sys.argv[3]), float(sys.argv[4])
    store, chance = connect(url), random.Random(reader)
    # what a reader does after a crash: look what is kept, and go on from there
    kept = {one.token for one in store.read(Query(study=STUDY, history=True))}
    for loop in range(loops):
        for token, intent in acts(store, reader, loop):
            if token not in kept:
                store.append(intent)
        counted = f"{reader}-{loop}-counted"
        if loop % COUNTED_EVERY == 0 and counted not in kept:
            count(store, reader, counted)
        time.sleep(chance.uniform(0, 2 * pause_s))
    store.close()


def acts(store: Store, reader: str, loop: int) -> Iterator[tuple[str, Intent]]:
    """Yield a reading and, for some, its correction."""
    token = f"{reader}-{loop}"
    first = Record(study=STUDY, kind="reading", key=token, body={"loop": loop, "mm": 20.5})
    yield token, Intent(record=first, token=token, actor=reader, at=datetime.now(UTC))
    if loop % CORRECTED_EVERY == 0:
        token = f"{token}-corrected"
        better = Record(study=STUDY, kind="reading", key=first.key, body={"loop": loop, "mm": 21.0})
        yield (
            token,
            Intent(
                record=better,
                token=token,
                actor="lab",
                at=datetime.now(UTC),
                reason="wrong frame",
                seen_version=1,
            ),
        )


def count(store: Store, reader: str, token: str) -> None:
    """Add one to the tally that all readers share: whoever is overtaken looks again."""
    while True:
        now = next(store.read(Query(study=STUDY, kind=TALLY, key=TALLY)), None)
        version, body = (now.version, now.record.body) if now else (0, {"count": 0})
        assert isinstance(body, dict)
        assert isinstance(body["count"], int)
        record = Record(study=STUDY, kind=TALLY, key=TALLY, body={"count": body["count"] + 1})
        try:
            store.append(
                Intent(
                    record=record,
                    token=token,
                    actor=reader,
                    at=datetime.now(UTC),
                    reason="one more" if version else "",
                    seen_version=version,
                )
            )
        except SupersededError:
            continue
        return


if __name__ == "__main__":
    main()
