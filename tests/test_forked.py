"""Processes that are forked for commands are as fresh ones: streams, folder, environment, ends; none knows of another."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from .forked import Forked, server_address, start, write_program
from .helpers import run_forked, run_gwnet, surroundings

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux alone")

#: Prints what its process has, and ends with the code that it is given.
ECHO = """
import json, os, sys, time
told = {"argv": sys.argv[1:], "in": sys.stdin.read(), "folder": os.getcwd(), "own": os.environ.get("OWN"),
        "path": os.environ.get("PATH"), "hour": time.localtime(0).tm_hour, "encoding": sys.stdout.encoding}
print(json.dumps(told))
print("told", file=sys.stderr)
raise SystemExit(int(sys.argv[1]))
"""


def tell(*arguments, cwd, **more):
    """Run a text in a forked process; return its exit code and what it printed."""
    ran = run_forked("-c", *arguments, cwd=cwd, **more)
    return ran.code, ran.out, ran.err


def test_a_process_has_its_own_streams_folder_and_environment(tmp_path):
    env = {"OWN": "grün=1", "TZ": "Etc/GMT-7", "PYTHONIOENCODING": "utf-16"}
    with pytest.raises(UnicodeDecodeError):
        tell(ECHO, 0, cwd=tmp_path, env=env)
    ran = run_forked("-c", ECHO, 3, "a b", "", cwd=tmp_path, env={**env, "PYTHONIOENCODING": "utf-8"}, stdin="x\nÿ")
    assert (ran.code, ran.err) == (3, "told\n")
    told = json.loads(ran.out)
    assert told == {
        "argv": ["3", "a b", ""],
        "in": "x\nÿ",
        "folder": str(tmp_path),
        "own": "grün=1",
        "path": os.environ["PATH"],
        "hour": 7,
        "encoding": "utf-8",
    }
    assert json.loads(tell(ECHO, 0, cwd=tmp_path, env={"TZ": "Etc/GMT+5"})[1])["hour"] == 19
    assert json.loads(tell(ECHO, 0, cwd=tmp_path)[1])["own"] is None


@pytest.mark.parametrize(
    ("text", "code", "out", "err"),
    [
        ("print('a'); raise SystemExit", 0, "a\n", ""),
        ("raise SystemExit('why')", 1, "", "why\n"),
        ("import os; os.kill(os.getpid(), 15)", -15, "", ""),
        ("import signal; signal.raise_signal(signal.SIGPIPE); print('on')", 0, "on\n", ""),
        ("import atexit; atexit.register(print, 'last'); print('first')", 0, "first\nlast\n", ""),
        (
            "import threading, time; threading.Thread(target=lambda: [time.sleep(0.1), print('b')]).start()",
            0,
            "b\n",
            "",
        ),
        (
            "print(__name__, (sys := __import__('sys')).path[0].endswith('tests'))",
            0,
            "__main__ False\n",
            "",
        ),
    ],
)
def test_a_process_ends_as_python_does(text, code, out, err, tmp_path):
    assert tell(text, cwd=tmp_path) == (code, out, err)


def test_what_a_process_does_to_modules_is_gone_with_it(tmp_path):
    spoil = "import gwnet.cli, os; gwnet.cli.main = None; os.chdir('/'); os.environ['OWN'] = '1'; 1 / 0"
    code, out, err = tell(spoil, cwd=tmp_path)
    assert (code, out) == (1, "")
    assert err.startswith("Traceback")
    assert err.endswith("ZeroDivisionError: division by zero\n")
    ran = run_gwnet("--version", cwd=tmp_path)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("gwnet ")
    assert json.loads(tell(ECHO, 0, cwd=tmp_path)[1])["own"] is None


def test_a_variable_that_python_reads_as_it_starts_is_refused(tmp_path):
    code, out, err = tell("print(1)", cwd=tmp_path, env={"PYTHONHASHSEED": "1", "LC_ALL": "C"})
    assert (code, out) == (1, "")
    assert "cannot have its own LC_ALL, PYTHONHASHSEED: start a fresh one" in err


def test_two_processes_run_at_once_and_either_can_be_killed(tmp_path):
    gates = [os.pipe() for _ in range(2)]
    printed = [tmp_path / name for name in "ab"]
    text = "print(1, flush=True); import time; time.sleep(600)", "print(2)"
    with printed[0].open("wb") as first, printed[1].open("wb") as second:
        one, two = (
            Forked("-c", what, cwd=tmp_path, env=surroundings(), files=[0, file.fileno(), 2, gate[0]])
            for what, file, gate in zip(text, (first, second), gates, strict=True)
        )
    assert one.pid != two.pid
    with one, two:
        os.close(gates[1][1])
        assert two.wait(60) == 0
        assert [path.read_text() for path in printed] == ["", "2\n"]
        os.close(gates[0][1])
        while not printed[0].read_text():
            time.sleep(0.01)
        with pytest.raises(TimeoutError):
            one.wait(0.01)
        one.kill()
        assert one.wait(60) == -9
    for gate in gates:
        os.close(gate[0])


def test_a_process_ends_with_the_block_that_started_it(tmp_path):
    with start("-c", "import time; time.sleep(600)", cwd=tmp_path, env=surroundings(), files=[0, 1, 2]) as process:
        assert Path(f"/proc/{process.pid}").exists()
    until = time.monotonic() + 60
    while Path(f"/proc/{process.pid}").exists() and time.monotonic() < until:
        time.sleep(0.01)
    assert not Path(f"/proc/{process.pid}").exists()


def test_the_server_has_one_thread_and_a_process_no_files_of_others(tmp_path):
    server_address()
    text = "import os; print(len(os.listdir('/proc/self/task')), len(os.listdir(f'/proc/{os.getppid()}/task')))"
    assert tell(text, cwd=tmp_path) == (0, "1 1\n", "")
    files = (
        "import os; print(sorted(int(n) for n in os.listdir('/proc/self/fd') if os.path.exists(f'/proc/self/fd/{n}')))"
    )
    code, alone, _ = tell(files, cwd=tmp_path)
    assert code == 0
    with start("-c", "import time; time.sleep(600)", cwd=tmp_path, env=surroundings(), files=[0, 1, 2]):
        assert tell(files, cwd=tmp_path) == (0, alone, "")
    assert tell("import sys; print('pandas' in sys.modules)", cwd=tmp_path) == (0, "True\n", "")


def test_the_program_passes_on_its_streams_folder_and_end(tmp_path):
    write_program(tmp_path / "gwnet")
    env = surroundings(COLUMNS="60")
    shell = f"'{tmp_path}/gwnet' wells --db 'no where/a b.sqlite' 2>err; echo $?; ./gwnet --version | cat"
    ran = subprocess.run(["/bin/sh", "-c", shell], cwd=tmp_path, env=env, capture_output=True, text=True, check=True)
    lines = ran.stdout.splitlines()
    assert (len(lines), lines[0], lines[1][:6]) == (2, "1", "gwnet ")
    assert "no where/a b.sqlite" in (tmp_path / "err").read_text()
