"""A process killed at any system call leaves its act wholly done or not begun, and running it again completes it."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS

from .dump import Dump, describe_difference, dump
from .figures import note_figures
from .kills import STRACE, draw, open_tracer
from .scale import SCALE, seed, shares
from .stages import ACTS, run_here

pytestmark = [
    pytest.mark.faults,
    pytest.mark.slow,
    pytest.mark.timeout(3600),
    pytest.mark.skipif(STRACE is None, reason="no strace: install it from the system's packages to run this test"),
]

DATABASES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
KILLS = {database: shares(count, list(ACTS)) for database, count in SCALE.kills.items()}


@dataclass(frozen=True)
class State:
    """A record and a folder of results at one moment, and the exit code of the command that led there.

    Of a copy of a record, what it holds stands beside the name of its file.
    """

    code: int
    rows: Dump
    files: frozenset[str]

    @classmethod
    def of(cls, code, url, folder):
        """Return how record and folder are now."""
        copies = {path.name: hash(str(dump(str(path)))) for path in folder.glob("[!.]*.sqlite")}
        return cls(code, dump(url), frozenset(f"{path.name}{copies.get(path.name, '')}" for path in folder.glob("*")))


class Bench:
    """One act on one database: what it does when nothing disturbs it, and trials in which it is killed."""

    def __init__(self, act, stages, tracer):
        self.act, self.stages, self.tracer, self.out = act, stages, tracer, tracer.folder / "out"
        with self.fresh() as url:
            self.before = self.state(url, DONE)
            self.once = self.state(url, self.run(url).code)
            self.expected = faults_of(url)  # the rows of an old revision's dump are made up, and the doctor says so
            self.twice = self.state(url, self.run(url).code)
        with self.fresh() as url:
            tracer.warm(self.command(url))
        with self.fresh() as url:
            self.calls = tracer.profile(self.command(url), Path(url).name)

    @contextmanager
    def fresh(self):
        """Give the address of a copy of the record that the act starts from; leave nothing behind."""
        url = self.stages.copy(self.act.stage)
        self.out.mkdir()
        try:
            yield url
        finally:
            self.stages.drop(url)
            shutil.rmtree(self.out, ignore_errors=True)

    def command(self, url):
        """Return the arguments of the act."""
        return self.act.command(url, self.stages.files, self.out)

    def run(self, url):
        """Do the act in this process."""
        return run_here(self.command(url))

    def state(self, url, code):
        """Return how record and folder are now."""
        return State.of(code, url, self.out)

    def kill(self, url, call):
        """Kill the act at a system call; return what happened and the faults that were found."""
        killed = self.tracer.kill(self.command(url), call)
        faults = [f"a traceback before its end:\n{killed.err}"] if "Traceback" in killed.err else []
        if self.act.stage != "old":
            faults += [f"the record is damaged: {fault}" for fault in faults_of(url)]
        left = self.state(url, self.once.code)
        is_done = left.rows == self.once.rows != self.before.rows or left == self.once
        if not is_done:
            faults += self.not_whole(left)
        faults += self.not_completed(url, self.twice if is_done else self.once)
        told = [f"killed at {call.name} {call.number}:", *faults]
        return killed.died, is_done, "\n".join(told) if faults else ""

    def not_whole(self, left):
        """Yield what an act that is not done has left."""
        if left.rows != self.before.rows:
            yield f"neither the record before nor after:\n{describe_difference(self.once.rows, left.rows)}"
        visible = {file for file in left.files - self.before.files if not file.startswith(".")}
        if visible and left.rows == self.before.rows != self.once.rows:
            yield f"nothing is on record, and these files are there: {sorted(visible)}"

    def not_completed(self, url, wanted):
        """Yield how the record differs from what is wanted after the act was done again."""
        again = self.run(url)
        now = self.state(url, again.code)
        if again.code != wanted.code:
            yield f"the next run ended with {again.code}, not {wanted.code}: {again.err}"
        if now.rows != wanted.rows:
            yield f"after the next run the record differs:\n{describe_difference(wanted.rows, now.rows)}"
        if now.files != wanted.files:
            yield f"after the next run there are these files: {sorted(now.files)}, not {sorted(wanted.files)}"
        for fault in faults_of(url):
            if fault not in self.expected:
                yield f"after the next run the record is damaged: {fault}"


def faults_of(url):
    """Return what is wrong with a record as such: it does not open, or its database or its doctor complains."""
    if "://" not in url:
        with sqlite3.connect(url) as connection:
            pragmas = ("integrity_check", "foreign_key_check")
            said = [row for pragma in pragmas for row in connection.execute(f"PRAGMA {pragma}")]
        connection.close()
        if said != [("ok",)]:
            return said
    ran = run_here(["doctor", "--format", "json", "--db", url])
    return [] if ran.code == DONE else [ran.err, *json.loads(ran.out or "{}").get("findings", [])]


@pytest.mark.parametrize("name", ACTS)
@pytest.mark.parametrize("database", DATABASES)
def test_a_killed_act_is_whole_or_not_begun_and_is_completed_by_the_next_run(database, name, stages, tmp_path):
    count = KILLS[database][name]
    if not count:
        return  # the short version kills on PostgreSQL some of the acts only
    with open_tracer(tmp_path) as tracer:
        bench = Bench(ACTS[name], stages, tracer)
        assert bench.once.code in (DONE, DONE_WITH_FINDINGS)
        assert (bench.before.rows, bench.before.files) != (bench.once.rows, bench.once.files)
        assert ACTS[name].stage == "old" or bench.expected == []
        rng = random.Random(seed("kill", database, name))
        trials = died = whole = 0
        faults = []
        while died < count and trials < 2 * count + 3:  # a process may end before it comes to the call that was drawn
            call = draw(bench.calls, rng)
            with bench.fresh() as url:
                was_killed, is_done, told = bench.kill(url, call)
            trials, died, whole = trials + 1, died + was_killed, whole + is_done
            faults += [told] if told else []
    note_figures(f"kill -9, {name}, {database}", killed=died, found_whole=whole, faults=len(faults))
    again = f"again: pytest -n 0 -m faults 'tests/faults/test_kills.py' -k '{database}-{name}', the same system calls each time"
    assert not faults, "\n\n".join([*faults, again])
    assert died == count, f"only {died} of {count} processes came to the system call at which they were to be killed"
