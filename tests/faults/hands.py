"""Several people who work on a record at once: writers and readers, each in a process of its own.

Run: ``python -m tests.faults.hands URL FOLDER SECONDS WRITERS READERS``. Each writes what its commands gave back into
the file ``ROLE_NUMBER.out`` of the folder, one JSON object a line. Writers load the same batches of events in different orders, correct one event of each, check, and review;
readers ask for the levels as they were known at a moment, and ask again a little later.
"""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from ..whole_package import load_package
from .scale import seed
from .scenario import WELLS
from .stages import run_here

BATCHES: Final = 240
_FIRST_DAY: Final = dt.date(2023, 1, 2)
_HEADING: Final = "site,well,date,time,status,depth_to_water,instrument,observer"


def batch_day(batch: int) -> dt.date:
    """Return the day of the events of a batch."""
    return _FIRST_DAY + dt.timedelta(days=batch)


def batch_depth(batch: int, well: int, *, corrected: bool = False) -> float:
    """Return the depth of a well in a batch, before or after the correction of its first well [m]."""
    return round(4.2 + 0.3 * well + 0.001 * batch + (0.01 if corrected and well == 0 else 0.0), 3)


def _rows(batch: int, wells: int, *, corrected: bool) -> str:
    rows = [
        f"SILVEN,{name},{batch_day(batch)},{8 + well:02d}:10,static,{batch_depth(batch, well, corrected=corrected):.3f},E-1,R. Olmar"
        for well, name in enumerate(WELLS[:wells])
    ]
    return "".join(f"{line}\n" for line in (_HEADING, *rows))


def write_batches(folder: Path) -> None:
    """Write the file of each batch, and that of its correction."""
    for kind, wells, corrected in (("first", len(WELLS), False), ("second", 1, True)):
        (folder / kind).mkdir(parents=True)
        for batch in range(BATCHES):
            text = _rows(batch, wells, corrected=corrected)
            (folder / kind / f"level_events_{batch:03d}.csv").write_text(text, encoding="utf-8")


def _tell(act: str, batch: int, arguments: list[str]) -> str:
    ran = run_here(arguments)
    print(json.dumps({"act": act, "batch": batch, "code": ran.code, "err": ran.err[-2000:]}), flush=True)
    return ran.out


def write(number: int, url: str, folder: Path, until: float) -> None:
    """Load, correct, check and review until a moment."""
    rng = random.Random(seed("hands", "writer", number))
    by = ["--by", f"writer {number}", "--db", url]
    loaded: list[int] = []
    for batch in _forever(rng):
        if time.monotonic() > until:
            return
        name = f"level_events_{batch:03d}.csv"
        _tell("load", batch, ["load", str(folder / "first" / name), *by])
        loaded.append(batch)
        act = rng.choice(["correct", "correct", "review", "check", "load"])
        if act == "correct":
            arguments = ["load", str(folder / "second" / name), "--correct", "--reason", "read again", *by]
            _tell("correct", batch, arguments)
        elif act == "review":
            day = str(batch_day(rng.choice(loaded)))
            _tell("review", batch, ["review", "approve", "--from", day, "--to", day, "--pass-over", *by])
        elif act == "check" and rng.random() < 0.3:
            _tell("check", batch, ["check", *by])


def _forever(rng: random.Random) -> Iterator[int]:
    """Yield the batches in a random order of their own, again and again; most people are at the same ones."""
    while True:
        order = list(range(BATCHES))
        for start in range(0, BATCHES, 8):
            part = order[start : start + 8]
            rng.shuffle(part)
            yield from part


def read(number: int, url: str, until: float) -> None:
    """Ask for the levels known at a moment, twice."""
    rng = random.Random(seed("hands", "reader", number))
    while time.monotonic() < until:
        moment = dt.datetime.now(dt.UTC).isoformat()
        arguments = ["levels", "--known-on", moment, "--format", "csv", "--db", url]
        first = _tell("levels", -1, arguments)
        time.sleep(rng.uniform(0.0, 0.5))
        second = _tell("levels", -1, arguments)
        if first != second:
            new = [line for line in second.splitlines() if line not in first.splitlines()]
            gone = [line for line in first.splitlines() if line not in second.splitlines()]
            print(json.dumps({"act": "differs", "known_on": moment, "new": new[:3], "gone": gone[:3]}), flush=True)


def work(role: str, number: int, url: str, folder: Path, seconds: float) -> None:
    """Work for some seconds, which begin for all at once; what is written goes to files of one's own."""
    for stream, ending in ((1, "out"), (2, "err")):
        os.dup2(os.open(folder / f"{role}_{number}.{ending}", os.O_WRONLY | os.O_CREAT | os.O_TRUNC), stream)
    run_here(["wells", "--db", url])  # by then everything is loaded
    (folder / f"{role}_{number}.ready").touch()
    while not (folder / "go").exists():
        time.sleep(0.05)
    until = time.monotonic() + seconds
    if role == "writer":
        write(number, url, folder, until)
    else:
        read(number, url, until)


def main(url: str, folder: Path, seconds: float, writers: int, readers: int) -> None:
    """Let people work at once, each in a process that is copied from this one when it has loaded the program."""
    load_package()
    people = [("writer", at) for at in range(writers)] + [("reader", at) for at in range(readers)]
    context = multiprocessing.get_context("fork")
    processes = [context.Process(target=work, args=(*person, url, folder, seconds)) for person in people]
    for process in processes:
        process.start()
    for process in processes:
        process.join()


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4]), int(sys.argv[5]))
