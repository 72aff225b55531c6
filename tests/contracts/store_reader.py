"""One reader as a program of its own: enters its readings one by one, and may be killed."""

import sys
from datetime import UTC, datetime

from annot.store import Intent, Query, Record, connect


def main() -> None:
    url, reader, loops = sys.argv[1], sys.argv[2], int(sys.argv[3])
    store = connect(url)
    # what a reader does after a crash: look what is kept, and go on from there
    kept = {one.token for one in store.read(Query(study="S", history=True)) if one.actor == reader}
    for loop in range(loops):
        token = f"{reader}-{loop}"
        if token in kept:
            continue
        record = Record(study="S", kind="reading", key=token, body={"loop": loop, "mm": 20.5})
        store.append(Intent(record=record, token=token, actor=reader, at=datetime.now(UTC)))
    store.close()


if __name__ == "__main__":
    main()
