"""Ends a process with SIGKILL at a chosen system call, which a tracer counts."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ..helpers import ROOT, with_tests

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
#: Calls at which a process cannot be stopped before they are made.
_NOT_COUNTED = frozenset({"execve", "exit_group", "exit", "rt_sigreturn", "restart_syscall"})
_CALL = re.compile(r"^(\d+) +([a-z_0-9]+)\((.*)$")
_LONGEST_RUN_S = 120


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
    err : str
        What it wrote to standard error.
    """

    died: bool
    err: str


class Tracer:
    """Runs commands of one act, each in a fork of a process that has loaded everything, under the tracer."""

    def __init__(self, server: subprocess.Popen[str], folder: Path) -> None:
        self.server, self.folder = server, folder

    def warm(self, arguments: list[str]) -> None:
        """Run a command untraced, so that what it needs is loaded."""
        self._send(arguments=arguments)
        self._heard()

    def profile(self, arguments: list[str], touched: str) -> list[Call]:
        """Run a command and return its system calls from the first that names something.

        Parameters
        ----------
        arguments : list of str
            Arguments of the command line.
        touched : str
            Text that the first call of interest has among its arguments, such as the name of the database.
        """
        log = self.folder / "calls.log"
        self._run(arguments, ["-s", "200", "-o", str(log)])
        calls: list[Call] = []
        counts: Counter[str] = Counter()
        process = ""
        seen = False
        with log.open(encoding="utf-8", errors="replace") as lines:
            for match in filter(None, map(_CALL.match, lines)):
                process = process or match[1]
                if match[1] == process and match[2] not in _NOT_COUNTED:
                    counts[match[2]] += 1
                    seen = seen or touched in match[3]
                    if seen:
                        calls.append(Call(match[2], counts[match[2]]))
        log.unlink()
        return calls

    def kill(self, arguments: list[str], call: Call) -> Killed:
        """Run a command and kill it as it makes a system call."""
        injected = f"inject={call.name}:signal=KILL:when={call.number}"
        status = self._run(arguments, ["-o", "/dev/null", "-e", f"trace={call.name}", "-e", injected])
        died = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        return Killed(died, (self.folder / "err").read_text(encoding="utf-8", errors="replace"))

    def _run(self, arguments: list[str], options: list[str]) -> int:
        """Run a command under the tracer and return its status, as `os.waitpid` gives it."""
        self._send(arguments=arguments, err=str(self.folder / "err"))
        child = self._heard()
        command = [str(STRACE), "-f", *options, "-p", str(child)]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as tracer:
            assert tracer.stderr is not None
            said = tracer.stderr.readline()
            os.kill(child, signal.SIGCONT if "attached" in said else signal.SIGKILL)
            assert "attached" in said, said
            try:
                tracer.communicate(timeout=_LONGEST_RUN_S)
            except subprocess.TimeoutExpired:
                where = Path(f"/proc/{child}/wchan").read_text(encoding="ascii")
                tracer.kill()  # its end lets the process go, which is then ended too
                os.kill(child, signal.SIGKILL)
                message = (
                    f"{' '.join(arguments)} did not end within {_LONGEST_RUN_S} s under {command}; it stood in {where}."
                )
                raise TimeoutError(message) from None
        return self._heard()

    def _send(self, **job: object) -> None:
        assert self.server.stdin is not None
        self.server.stdin.write(json.dumps(job) + "\n")
        self.server.stdin.flush()

    def _heard(self) -> int:
        assert self.server.stdout is not None
        return int(self.server.stdout.readline())


@contextmanager
def open_tracer(folder: Path) -> Iterator[Tracer]:
    """Give a tracer; the order of sets in its processes is the same each time, so that their calls are."""
    with subprocess.Popen(
        [sys.executable, "-P", "-m", "tests.faults.fork_server"],
        cwd=ROOT,
        env=with_tests(PYTHONHASHSEED="0"),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as server:
        yield Tracer(server, folder)
        assert server.stdin is not None
        server.stdin.close()


def draw(calls: list[Call], rng: random.Random) -> Call:
    """Return a call to be killed at: as often one that changes something as any."""
    changing = [call for call in calls if call.name in CHANGING]
    return rng.choice(rng.choice([calls, changing]))
