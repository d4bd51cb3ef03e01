"""A process in which everything is loaded, that forks for each command; the fork waits until a tracer has it.

Run: ``python -m tests.faults.fork_server``. Reads one JSON object a line: ``arguments`` of the command line and, unless
the command is only to be run here, ``err``, the file for what it says. Prints the number of the fork, then its status.
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
from typing import NoReturn

from gwnet.cli import main

from .stages import run_here

_PR_SET_PTRACER = 0x59616D61
_ANY_PROCESS = ctypes.c_ulong(-1)


def be_command(arguments: list[str], err: str) -> NoReturn:
    """Wait for the tracer, run the command, and end."""
    said = os.open(err, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    nothing = os.open(os.devnull, os.O_RDWR)
    for target, source in ((0, nothing), (1, nothing), (2, said)):
        os.dup2(source, target)
    ctypes.CDLL(None).prctl(_PR_SET_PTRACER, _ANY_PROCESS, 0, 0, 0)  # where only parents may trace
    os.kill(os.getpid(), signal.SIGSTOP)
    code = 70
    try:
        code = main(arguments)
    finally:
        sys.stderr.flush()
        os._exit(code)


def serve() -> None:
    """Run commands until standard input ends."""
    for line in sys.stdin:
        job = json.loads(line)
        if "err" not in job:
            print(run_here(job["arguments"]).code, flush=True)
            continue
        child = os.fork()
        if child == 0:
            be_command(job["arguments"], job["err"])
        # until it has stopped: told to go on before that, it would stop afterwards, for good
        os.waitpid(child, os.WUNTRACED)
        print(child, flush=True)
        print(os.waitpid(child, 0)[1], flush=True)


if __name__ == "__main__":
    serve()
