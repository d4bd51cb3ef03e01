"""Python in processes that are forked from one that has loaded everything: most of what a command costs is its start.

A process of the tests starts a server when it first needs it, which ends with it. Each command gets a process of its
own, with streams, folder and environment as a fresh one would have; what it leaves in its modules is gone with it. What
a test says about the interpreter itself (imports, seeds of hashes, the system's encoding) needs a fresh process.
"""

import atexit
import os
import shlex
import signal
import subprocess
import sys
import tempfile
from contextlib import suppress
from functools import lru_cache
from pathlib import Path

import gwnet

from . import forked_client

#: Whether there can be a server here.
IS_POSSIBLE = sys.platform == "linux"

#: Folder from which `gwnet` is imported.
PACKAGE_PATH = str(Path(gwnet.__file__).resolve().parents[1])

_FOLDER = Path(__file__).resolve().parent
_AT_THE_START = dict(os.environ)


class Forked:
    """A process that runs Python, forked by the server; killed if it still runs where its block ends."""

    def __init__(self, *arguments, cwd, env, files):
        self._connection = forked_client.ask(
            server_address(), [*map(str, arguments)], folder=str(cwd), environment=env, files=files
        )
        #: Number of the process; it has its streams, folder and environment.
        self.pid = forked_client.hear(self._connection)

    def wait(self, timeout=None):
        """Return the exit code, negative for a signal; raise TimeoutError after so many seconds."""
        self._connection.settimeout(timeout)
        return forked_client.hear(self._connection)

    def kill(self):
        """End the process; one that has ended by itself stays as it is."""
        with suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._connection.close()  # the server kills a process whose connection is closed


def start(*arguments, cwd, env, files, gate=None):
    """Start Python with these arguments, in a fresh process where none can be forked.

    Parameters
    ----------
    arguments : object
        ``-m`` and a module, ``-c`` and a text, or a file; then what it is given.
    cwd : path
        Its folder.
    env : dict
        Its environment, all of it.
    files : list of int
        Its standard input, output and error.
    gate : int, optional
        File that a forked process reads before it begins, when everything else is done: it waits until there is
        something to read or the other end is closed.

    Returns
    -------
    Forked or subprocess.Popen
    """
    if IS_POSSIBLE:
        return Forked(*arguments, cwd=cwd, env=env, files=files if gate is None else [*files, gate])
    given, out, err = files
    return subprocess.Popen(
        [sys.executable, *map(str, arguments)], cwd=cwd, env=env, stdin=given, stdout=out, stderr=err
    )


@lru_cache(maxsize=1)
def server_address():
    """Return the socket of this process's server; start it if need be."""
    folder = Path(tempfile.mkdtemp(prefix="gwnet-"))
    environment = {**_AT_THE_START, "PYTHONPATH": PACKAGE_PATH}
    # a thread of an allocator would be lost in the forks
    environment["JE_ARROW_MALLOC_CONF"] = "background_thread:false"
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(
            [sys.executable, str(_FOLDER / "forked_server.py"), str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            env=environment,
        )
    atexit.register(_end, server)
    if server.stdout.readline() != b"ready\n":
        raise RuntimeError((folder / "log").read_text(encoding="utf-8"))
    return str(folder / "door")


def _end(server):
    with server:  # closes its input, which ends it
        pass


def write_program(path, *, is_fresh=False):
    """Write a program that does what ``python -m gwnet`` does, where it can and may in a process forked by the server."""
    words = [sys.executable]
    if IS_POSSIBLE and not is_fresh:
        words += ["-S", "-E", str(_FOLDER / "forked_client.py"), server_address()]
    path.write_text(f'#!/bin/sh\nexec {shlex.join([*words, "-m", "gwnet"])} "$@"\n')
    path.chmod(0o755)
