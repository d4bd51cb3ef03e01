"""Ends a process with SIGKILL at a chosen system call, which a tracer counts."""

from __future__ import annotations

import random
import re
import shlex
import shutil
import signal
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from ..helpers import surroundings

STRACE = shutil.which("strace")

#: Calls that change a file, a folder or what a server knows.
CHANGING = frozenset(
    {
        *(
            "write",
            "writev",
            "pwrite64",
            "pwritev",
            "ftruncate",
            "fallocate",
            "fsync",
            "fdatasync",
            "sendto",
            "sendmsg",
        ),
        *("rename", "renameat", "renameat2", "unlink", "unlinkat", "link", "linkat", "mkdir", "mkdirat", "rmdir"),
    }
)
#: Calls that cannot be counted, because the tracer's filter of calls does not see them as they are made.
_NOT_COUNTED = frozenset({"execve", "exit_group", "exit", "clone", "clone3", "rt_sigreturn", "restart_syscall"})
_CALL = re.compile(r"^(\d+) +([a-z_0-9]+)\((.*)$")
_LONGEST_RUN_S = 180


@dataclass(frozen=True)
class Call:
    """One system call of a process: which one, and how many of its name went before, itself counted."""

    name: str
    number: int


@dataclass(frozen=True)
class Killed:
    """What became of a process that was to be killed.

    Attributes
    ----------
    died : bool
        Whether it was killed; otherwise it ended before it came to that call.
    code : int
        Exit code, negative for a signal.
    err : str
        What it wrote to standard error.
    again : str
        Command line that repeats it.
    """

    died: bool
    code: int
    err: str
    again: str


def profile(arguments: list[str], touched: str, cwd: Path) -> list[Call]:
    """Run ``gwnet`` and return its system calls from the first that names something.

    Parameters
    ----------
    arguments : list of str
        Arguments of the command line.
    touched : str
        Text that the first call of interest has among its arguments, such as the name of the database.
    cwd : pathlib.Path
        Folder to run in.
    """
    log = cwd / "calls.log"
    _run([str(STRACE), "-f", "-s", "200", "-o", str(log), *_gwnet(arguments)], cwd)
    calls: list[Call] = []
    counts: Counter[str] = Counter()
    process = ""
    seen = False
    with log.open(encoding="utf-8", errors="replace") as lines:
        for line in lines:
            match = _CALL.match(line)
            if match is None:
                continue
            process = process or match[1]
            if match[1] != process or match[2] in _NOT_COUNTED:
                continue
            counts[match[2]] += 1
            seen = seen or touched in match[3]
            if seen:
                calls.append(Call(match[2], counts[match[2]]))
    log.unlink()
    return calls


def draw(calls: list[Call], rng: random.Random) -> Call:
    """Return a call to be killed at: as often one that changes something as any."""
    changing = [call for call in calls if call.name in CHANGING]
    return rng.choice(rng.choice([calls, changing]))


def run_and_kill(arguments: list[str], call: Call, cwd: Path) -> Killed:
    """Run ``gwnet`` and kill it as it makes a system call."""
    command = [
        *(str(STRACE), "-f", "-o", "/dev/null"),
        *("-e", f"trace={call.name}", "-e", f"inject={call.name}:signal=KILL:when={call.number}"),
        *_gwnet(arguments),
    ]
    done = _run(command, cwd)
    return Killed(done.returncode == -signal.SIGKILL, done.returncode, done.stderr, shlex.join(command))


def _gwnet(arguments: list[str]) -> list[str]:
    return [sys.executable, "-m", "gwnet", *arguments]


def _run(command: list[str], cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command; the order of sets and mappings in it is the same each time, so that its calls are."""
    return subprocess.run(
        command,
        cwd=cwd,
        env=surroundings(PYTHONHASHSEED="0", PYTHONDONTWRITEBYTECODE="1"),
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        timeout=_LONGEST_RUN_S,
        check=False,
    )
