"""The server of `tests.forked`: a process that has loaded the package and forks for each command.

Run: ``python forked_server.py FOLDER``. Listens at FOLDER/door, says ``ready`` on standard output, and serves until
its standard input ends; then it ends what still runs and removes the folder.
"""

import atexit
import gc
import locale
import os
import runpy
import select
import shutil
import signal
import socket
import sys
import threading
import time
import traceback
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from types import ModuleType

from forked_client import NUMBER
from whole_package import load_package

#: What commands load beyond the modules of the package, mostly by way of other packages.
_LOADED_BY_COMMANDS = (
    *("alembic.command", "alembic.config", "alembic.runtime.migration"),
    *("sqlalchemy.dialects.sqlite", "sqlalchemy.dialects.postgresql.psycopg", "psycopg"),
    *("pandas.core.methods.to_dict", "pyarrow.compute", "pyarrow.parquet", "openpyxl", "xlsxwriter"),
    *("geopandas", "pyogrio", "pyproj.crs", "shapely.ops"),
    *("scipy.cluster.hierarchy", "scipy.interpolate", "scipy.io", "scipy.optimize", "scipy.signal", "scipy.spatial"),
    *("scipy.stats", "statsmodels.tsa.seasonal", "statsmodels.nonparametric.smoothers_lowess"),
    *("matplotlib.figure", "matplotlib.backends.backend_agg", "matplotlib.backends.backend_pdf", "contourpy"),
    *("matplotlib.backends.backend_svg", "fontTools.subset", "PIL.Image", "pikepdf.pdfa"),
)

#: Beginnings of variables that an interpreter and its libraries read only as they start.
_READ_AT_THE_START = ("PYTHON", "LC_", "LANG", "MPL", "OMP_", "OPENBLAS_")
_READ_LATER = "PYTHONIOENCODING"


def load_everything():
    """Load all modules of the package and what its commands need."""
    load_package()
    for name in _LOADED_BY_COMMANDS:
        import_module(name)
    from sqlalchemy.orm import configure_mappers

    configure_mappers()


def serve(folder):
    """Run what is asked for until standard input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the keyboard stops the tests, which end the server
    door = socket.socket(socket.AF_UNIX)
    door.bind(str(folder / "door"))
    door.listen(64)
    print("ready", flush=True)
    processes, connections = {}, {}  # by the file that becomes readable: at a process's end; as who asked goes away
    while True:
        readable, _, _ = select.select([0, door, *processes, *connections], [], [])
        for file in readable:
            if file in processes:
                process, connection = processes.pop(file)
                os.close(file)
                connections.pop(connection, None)
                _tell(connection, os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]))
                connection.close()
            elif file in connections:  # its file may be closed by now
                os.kill(connections.pop(file), signal.SIGKILL)
            elif file is door:
                connection, _ = door.accept()
                process = _fork(connection, [door, *(other for _, other in processes.values())], list(processes))
                processes[os.pidfd_open(process)] = process, connection
                connections[connection] = process
            elif file == 0:
                for process, _ in processes.values():
                    os.kill(process, signal.SIGKILL)
                return


def _tell(connection, number):
    with suppress(BrokenPipeError):  # who asked may have gone
        connection.sendall(number.to_bytes(NUMBER, "big", signed=True))


def _fork(connection, sockets, files):
    """Read what a connection asks for and fork for it; close in the fork what belongs to others."""
    head, given, _, _ = socket.recv_fds(connection, NUMBER, 8)
    with connection.makefile("rb") as reader:
        parts = [os.fsdecode(part) for part in reader.read(int.from_bytes(head, "big")).split(b"\0")]
    process = os.fork()
    if process:
        for file in given:
            os.close(file)
        return process
    code = 70
    try:
        for other in sockets:
            other.close()
        for file in files:
            os.close(file)
        code = _be(connection, parts, given)
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def _be(connection, parts, given):
    """Become the process that was asked for, run it to its end, and return its exit code."""
    count = int(parts[0])
    arguments, folder = parts[1 : count + 1], parts[count + 1]
    environment = dict(part.split("=", 1) for part in parts[count + 2 :])
    for target, source in enumerate(given[:3]):
        os.dup2(source, target)
    differing = sorted(
        name
        for name in {*environment, *os.environ}
        if name.startswith(_READ_AT_THE_START) and name != _READ_LATER and environment.get(name) != os.environ.get(name)
    )
    os.environ.clear()
    os.environ.update(environment)
    time.tzset()
    os.chdir(folder)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    _open_streams()
    _tell(connection, os.getpid())
    connection.close()
    for held in given[3:]:
        os.read(held, 1)
    for file in given:
        os.close(file)
    gc.enable()
    try:
        if differing:
            message = f"A forked process cannot have its own {', '.join(differing)}: start a fresh one."
            raise ValueError(message)
        _run(*arguments)
    except SystemExit as ended:
        return _exit_code(ended)
    except BaseException:  # as the interpreter itself does
        traceback.print_exc()
        return 1
    finally:
        threading._shutdown()
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
    return 0


def _open_streams():
    encoding, _, errors = os.environ.get(_READ_LATER, "").partition(":")
    encoding = encoding or locale.getencoding()
    # they stay open to the end
    sys.stdin = sys.__stdin__ = open(0, encoding=encoding, errors=errors or None, closefd=False)  # noqa: SIM115
    sys.stdout = sys.__stdout__ = open(1, "w", encoding=encoding, errors=errors or None, closefd=False)  # noqa: SIM115
    sys.stderr = sys.__stderr__ = open(2, "w", 1, encoding, "backslashreplace", closefd=False)  # noqa: SIM115


def _run(what, *arguments):
    """Run a module after ``-m``, a text after ``-c`` or a file, as the interpreter does."""
    if what == "-m":
        module, *rest = arguments
        sys.argv = [what, *rest]
        runpy.run_module(module, run_name="__main__", alter_sys=True)
    elif what == "-c":
        text, *rest = arguments
        sys.argv = [what, *rest]
        sys.modules["__main__"] = ModuleType("__main__")
        exec(compile(text, "<string>", "exec"), sys.modules["__main__"].__dict__)
    else:
        sys.argv = [what, *arguments]
        sys.path.insert(0, str(Path(what).resolve().parent))
        runpy.run_path(what, run_name="__main__")


def _exit_code(ended):
    if ended.code is None or isinstance(ended.code, int):
        return (ended.code or 0) & 0xFF
    print(ended.code, file=sys.stderr)
    return 1


if __name__ == "__main__":
    _folder = Path(sys.argv[1])
    del sys.path[0]  # the folder of the tests, from which nothing more is imported
    load_everything()
    gc.collect()
    gc.disable()  # in a fork each object that is looked at is copied
    gc.freeze()
    try:
        serve(_folder)
    finally:
        shutil.rmtree(_folder, ignore_errors=True)
