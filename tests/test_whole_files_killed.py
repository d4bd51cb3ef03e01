"""Writing sets of files in a process that is killed at each call of the system: old or new, never a mix.

A child process forks one process a call, kills it before or after that call, looks, and lets a next run settle it.
"""

import json

import pytest

from .helpers import run_python
from .killing import ARM

DRIVER = (
    ARM
    + r"""
import json, os, shutil, sys
from pathlib import Path
from gwnet.whole_files import Registration, finish_begun, replace_files, write_files

CALLS = ("mkdir", "fsync", "link", "replace", "unlink", "rmdir", "open", "close")
kind, when = sys.argv[1:]
OLD = {"a": b"old a", "c": b"old c"}
NEW = {"a": b"new a", "b": b"new b", "c": b"new c"}
MARK = Path("register").resolve()


def register():
    MARK.with_suffix(".half").write_bytes(b"x")
    os.replace(MARK.with_suffix(".half"), MARK)


def is_registered(mark):
    return MARK.exists()


def write():
    if kind == "several folders":
        replace_files({Path("out/a"): NEW["a"], Path("out/b"): NEW["b"], Path("more/c"): NEW["c"]}, "figure")
    elif kind == "registered":
        write_files("out", NEW, "report", Registration({"report": "1"}, register, is_registered))
    else:
        write_files("out", NEW, "report")


def read(names=None):
    files = {}
    for folder in ("out", "more"):
        for path in sorted(Path(folder).iterdir()) if Path(folder).is_dir() else ():
            if names is None or path.name in names:
                files[path.name] = path.read_bytes() if path.is_file() else "folder"
    return files


outcomes = {"old": 0, "new": 0}
at = 0
while True:
    at += 1
    for name in ("out", "more"):
        shutil.rmtree(name, ignore_errors=True)
    MARK.unlink(missing_ok=True)
    if kind != "new folder":
        os.mkdir("out")
        os.mkdir("more")
        for name, content in OLD.items():
            folder = "more" if kind == "several folders" and name == "c" else "out"
            Path(folder, name).write_bytes(content)
    child = os.fork()
    if child == 0:
        seen = 0
        for call in CALLS:
            arm(os, call, at, when)
        write()
        os._exit(0)
    _, status = os.waitpid(child, 0)
    for name, content in read("abc").items():
        assert content in (OLD.get(name), NEW[name]), (at, name, content)
    if kind == "registered" and not MARK.exists():
        assert read("abc") == OLD, (at, read())
    if kind == "registered":
        finish_begun(Path("out"), is_registered)
    else:
        for folder in ("more", "out"):
            if Path(folder).is_dir():
                replace_files({Path(folder) / "z": b"next"}, "figure")
                (Path(folder) / "z").unlink()
    left = read()
    before = {} if kind == "new folder" else OLD
    assert left in (before, NEW), (at, left)
    assert kind != "registered" or (left == NEW) == MARK.exists(), (at, left)
    outcomes["new" if left == NEW else "old"] += 1
    if not os.WIFSIGNALED(status):
        assert left == NEW
        break
print(json.dumps({"points": at, **outcomes}))
"""
)


@pytest.mark.slow
@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("kind", ["old files", "new folder", "several folders", "registered"])
def test_a_kill_at_any_call_leaves_the_old_files_or_the_new_ones(kind, when, tmp_path):
    ran = run_python("-c", DRIVER, kind, when, cwd=tmp_path)
    assert ran.code == 0, ran.err
    counted = json.loads(ran.out)
    assert counted["points"] > 25
    assert counted["old"] > 10
    assert counted["new"] > 5
