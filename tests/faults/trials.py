"""Tries spoilt files one after another in one process and prints what came of each, one JSON object a line.

Run: ``python -m tests.faults.trials KIND FIRST COUNT``, at the top of the checkout; the numbers of trials say which files
they spoil and how. Memory is limited to one GiB beyond what the program takes from the beginning, and each trial to ten
seconds of the processor.
"""

from __future__ import annotations

import json
import random
import re
import resource
import shutil
import signal
import sqlite3
import sys
import tempfile
import traceback
from pathlib import Path
from types import FrameType
from typing import Any, Final

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE

from ..helpers import Ran
from .scale import seed
from .stages import run_here
from .subjects import SUBJECTS, Bases, Spoilt, Subject

#: Longest trial [s of the processor], and most memory that it may take [bytes].
LONGEST_S: Final = 10.0
MOST_MEMORY: Final = 1 << 30

#: Words of Python and of databases that no message for a person has.
_RAW: Final = ("Traceback", "sqlalchemy", "sqlite3", "constraint failed", "The database refused", "errno", "NoneType")


class TooLongError(Exception):
    """A trial took too long."""


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise TooLongError


def limit_memory() -> None:
    """Let this process have so much more memory of its own than it has now."""
    own = Path("/proc/self/status")
    # not all of the address space is counted: threads reserve much of it that they never use
    if own.exists() and (now := re.search(r"VmData:\s+(\d+) kB", own.read_text())):
        most = int(now[1]) * 1024 + MOST_MEMORY
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))


def try_one(subject: Subject, kind: str, number: int, bases: Bases, keep: Path | None = None) -> dict[str, Any]:
    """Spoil one file, run its command, and return what came of it.

    Parameters
    ----------
    subject : tests.faults.subjects.Subject
        Kind of file.
    kind, number : str, int
        What the seed is made from.
    bases : tests.faults.subjects.Bases
        Records to put it into.
    keep : pathlib.Path, optional
        Folder in which the spoilt file is kept.
    """
    spoilt = subject.spoil(random.Random(seed("spoil", kind, number)))
    record = bases.copy(spoilt.base)
    before = record.read_bytes()
    out = bases.folder / "out"
    shutil.rmtree(out, ignore_errors=True)
    file = (keep or bases.folder) / spoilt.name
    file.write_bytes(spoilt.content)
    words = {"file": file, "files": bases.files, "out": out}
    arguments = [*(word.format(**words) for word in spoilt.arguments), "--db", str(record)]
    faults: list[str] = []
    ran = Ran(-1, "", "")
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        ran = run_here(arguments)
    except TooLongError:
        faults.append(f"it took more than {LONGEST_S:g} s")
    except MemoryError:
        faults.append(f"it took more than 1 GiB of memory:\n{traceback.format_exc(limit=-3)}")
    except Exception:
        faults.append(traceback.format_exc())
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    if not faults:
        faults += _judge(subject, spoilt, ran, record, before, out)
    return {"number": number, "how": f"{spoilt.name}: {spoilt.how}", "code": ran.code, "faults": faults}


def _judge(subject: Subject, spoilt: Spoilt, ran: Ran, record: Path, before: bytes, out: Path) -> list[str]:
    said = ran.out + ran.err
    faults = [f"a message says {word!r}: {said}" for word in _RAW if word in said]
    if ran.code in (STOPPED, WRONG_USAGE):
        if record.read_bytes() != before:
            faults.append("the command stopped, and the record is changed")
        if out.exists() and list(out.iterdir()):
            faults.append("the command stopped, and left files")
        if not ran.err.strip():
            faults.append("the command stopped without a word")
    elif ran.code in (DONE, DONE_WITH_FINDINGS):
        connection = sqlite3.connect(record)
        try:
            faults += subject.faults(spoilt, ran, connection, out)
        except Exception:
            faults.append(f"what was accepted cannot be read again:\n{traceback.format_exc()}")
        finally:
            connection.close()
    else:
        faults.append(f"exit code {ran.code}: {said}")
    return faults


def main(kind: str, first: int, count: int) -> None:
    """Try some files of a kind; a single one is kept, with its name on standard error."""
    subject = SUBJECTS[kind]()
    signal.signal(signal.SIGPROF, _stop)
    with tempfile.TemporaryDirectory() as folder:
        bases = Bases(Path(folder))
        keep = Path(tempfile.mkdtemp()) if count == 1 else None
        for number in range(first, first + count):
            print(json.dumps({"begin": number}), flush=True)
            result = try_one(subject, kind, number, bases, keep)
            if number == first:
                limit_memory()  # by now everything heavy is loaded
            print(json.dumps(result), flush=True)
        if keep:
            print(f"the spoilt file is in {keep}", file=sys.stderr)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
