"""One process that puts readings into a store and takes them out: seconds and memory per step."""

import json
import resource
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from annot.exports import COLUMNS, CSV, write_whole
from annot.exports.csv_file import csv_lines
from annot.store import Intent, Query, Record, Store, connect

BATCH = 500
AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
NAMES = [column.name for column in COLUMNS]


def main() -> None:
    url, count, folder = sys.argv[1], int(sys.argv[2]), Path(sys.argv[3])
    folder.mkdir()
    study = f"S{count}"
    store, other = connect(url), connect(str(folder / "other.db"))
    chain = folder / "chain.jsonl"

    def carry_in() -> None:
        with chain.open(encoding="utf-8") as lines:
            head = other.take_chain(lines, name="chain")
        assert head == store.verify_chain(study).head

    def table() -> None:
        rows = (one.record.body["row"] for one in store.read(Query(study=study, kind="reading")))
        write_whole(folder / "table.csv", csv_lines(rows, NAMES), replaces=CSV)

    steps: dict[str, Callable[[], object]] = {
        "append": lambda: append(store, study, count),
        "verify": lambda: store.verify_chain(study),
        "chain out": lambda: write_whole(chain, store.lines_of_chain(study), replaces=b"{"),
        "chain in and verify": carry_in,
        "table out": table,
    }
    answer = []
    for name, work in steps.items():
        start = time.process_time()
        work()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        answer.append((name, time.process_time() - start, peak))
    store.close()
    other.close()
    sys.stdout.write(json.dumps(answer))


def append(store: Store, study: str, count: int) -> None:
    """Enter readings in batches, each a row of the table's width."""
    row = dict.fromkeys(NAMES, "as a table's cell") | {"value": 21.4, "u": 0.5}
    for first in range(0, count, BATCH):
        intents = [
            Intent(
                record=Record(
                    study=study, kind="reading", key=f"r{n}", body={"row": {**row, "n": n}}
                ),
                token=f"t{n}",
                actor="A",
                at=AT,
            )
            for n in range(first, min(first + BATCH, count))
        ]
        store.append(*intents)


if __name__ == "__main__":
    main()
