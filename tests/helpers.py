"""What tests share: running the command line and other processes, and reading what they print."""

from __future__ import annotations

import ast
import functools
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from sqlalchemy import text

from gwnet.store.fetch.states import state_at

from .forked import PACKAGE_PATH, start

#: Top of the checkout that these tests belong to.
ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Ran:
    """What a run of the command line gave back."""

    code: int
    out: str
    err: str


def surroundings(**more):
    """Return the environment of a process that finds the same `gwnet` as the tests and none of its settings."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith("GWNET_")}
    return {**kept, "PYTHONPATH": PACKAGE_PATH, "PYTHONIOENCODING": "utf-8", **more}


def with_tests(**more):
    """Return the same of a process that also imports from `tests`.

    It runs with ``-P`` or in a folder of its own, so that `gwnet` is the tested one, not that of the current folder.
    """
    shared = surroundings(**more)
    return {**shared, "PYTHONPATH": os.pathsep.join([shared["PYTHONPATH"], str(ROOT)])}


def run_python(*arguments, cwd, env=None, stdin="", timeout=300):
    """Run this interpreter in a fresh process that finds the same `gwnet` as the tests; return what it gave back."""
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=cwd,
        env=surroundings(**(env or {})),
        input=stdin,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=timeout,
        check=False,
    )
    return Ran(done.returncode, done.stdout, done.stderr)


def run_forked(*arguments, cwd, env=None, stdin="", timeout=300):
    """Do as `run_python` does in a process that is forked from one that has loaded everything: see `tests.forked`."""
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        given.write(stdin.encode())
        given.seek(0)
        files = [file.fileno() for file in (given, out, err)]
        with start(*arguments, cwd=cwd, env=surroundings(**(env or {})), files=files) as process:
            code = process.wait(timeout)
        out.seek(0)
        err.seek(0)
        return Ran(code, out.read().decode("utf-8"), err.read().decode("utf-8"))


def run_gwnet(*arguments, cwd, env=None, timeout=300):
    """Run ``gwnet`` in a process of its own, forked from one that has loaded it; return what it gave back."""
    return run_forked("-m", "gwnet", *arguments, cwd=cwd, env=env, timeout=timeout)


def run_fresh_gwnet(*arguments, cwd, env=None, timeout=300):
    """Run ``gwnet`` in a fresh process, which loads what it needs; return what it gave back."""
    return run_python("-m", "gwnet", *map(str, arguments), cwd=cwd, env=env, timeout=timeout)


def package_modules():
    """Return the files of the package that these tests' checkout holds, in order."""
    return sorted((ROOT / "gwnet").rglob("*.py"))


@functools.cache
def imports_of(file):
    """Return the names of the modules that a file imports anywhere in it, and the lines of relative imports.

    Kept, because to parse the whole package takes two seconds and several rules ask.
    """
    names, relative = set(), []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names.add(node.module)
        elif isinstance(node, ast.ImportFrom):
            relative.append(node.lineno)
    return frozenset(names), tuple(relative)


def tracked_files():
    """Return the files under version control, or None outside a checkout."""
    try:
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        return None
    return [ROOT / name for name in listed.decode().split("\0") if name and (ROOT / name).is_file()]


def owners_of(runs, times):
    """Return the download that each sample came with: that of the newest run around it."""
    spans = list(zip(runs.first_ms.tolist(), runs.last_ms.tolist(), runs.download_id.tolist(), strict=True))
    return [[download for first, last, download in spans if first <= time <= last][-1] for time in times.tolist()]


def fetch_verdicts(connection):
    """Return the verdicts of checks on level events that are on record now, by event and rule."""
    query = (
        "SELECT id AS verdict_id, level_event_id AS event_id, rule, severity, limits, message, recorded_at_utc"
        " FROM verdict WHERE retired_at_utc IS NULL AND level_event_id IS NOT NULL ORDER BY event_id, rule"
    )
    return pd.read_sql_query(text(query), connection)


def follow(store, earliest):
    """Return a time for the next state of a record: that of the newest, or the earliest that is wanted."""
    with store.reading() as connection:
        newest = state_at(connection)
    return earliest if newest is None else max(earliest, newest.recorded_at_utc)
