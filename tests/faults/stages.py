"""Records at the stages of the scenario, and copies of them to do harm to, on either database."""

from __future__ import annotations

import contextlib
import io
import shutil
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from gwnet.cli import DONE, DONE_WITH_FINDINGS, main

from ..helpers import Ran
from ..store.conftest import load_dump
from .scenario import write_files

#: Oldest revision of which a dump is kept; upgrades begin there.
OLDEST = "0001"


@dataclass(frozen=True)
class Act:
    """Something that a person does to the record.

    Attributes
    ----------
    name : str
        What it is called here.
    stage : str
        Stage of the record that it starts from.
    arguments : tuple of str
        Command with ``{files}`` for the folder of the scenario and ``{out}`` for the folder of results.
    """

    name: str
    stage: str
    arguments: tuple[str, ...]

    def command(self, url: str, files: Path, out: Path) -> list[str]:
        """Return the arguments of the command line."""
        return [*(word.format(files=files, out=out) for word in self.arguments), "--db", url]


LOAD = Act("load", "empty", ("load", "{files}/tables", "--by", "Ana"))
LOGGER_LOAD = Act(
    "logger load", "loaded", ("logger", "load", "{files}/logger.csv", "--layout", "{files}/layout.toml", "--by", "Ana")
)
CORRECT = Act(
    "correct", "loaded", ("load", "{files}/corrected", "--correct", "--reason", "point misplaced", "--by", "Ana")
)
CHECK = Act("check", "loaded", ("check", "--by", "Ana"))
REVIEW = Act("review", "corrected", ("review", "approve", "--round", "2026-Q1", "--by", "Ben"))
LOGGER_CORRECT = Act(
    "logger correct",
    "logged",
    (
        *("logger", "correct", "L-1", "step", "--from", "2025-11-20T00:00Z", "--amount", "0.05"),
        *("--reason", "sensor moved", "--by", "Ben"),
    ),
)
UPGRADE = Act("upgrade", "old", ("upgrade",))
ISSUE = Act(
    "issue",
    "corrected",
    (
        *("report", "{files}/levels.toml", "--period", "2026-Q1", "--out", "{out}", "--issue"),
        *("--processes", "1", "--by", "Ben"),
    ),
)
BACKUP = Act("backup", "logged", ("backup", "{out}/copy.sqlite"))

ACTS = {act.name: act for act in (LOAD, LOGGER_LOAD, CORRECT, CHECK, REVIEW, LOGGER_CORRECT, UPGRADE, ISSUE, BACKUP)}

#: Each stage: the one before it, and what is done to that.
STAGES: dict[str, tuple[str, tuple[Act, ...]]] = {
    "empty": ("", (Act("init", "", ("init",)),)),
    "loaded": ("empty", (LOAD,)),
    "corrected": ("loaded", (CORRECT,)),
    "logged": ("loaded", (LOGGER_LOAD,)),
    "full": ("corrected", (LOGGER_LOAD, LOGGER_CORRECT, CHECK, REVIEW, ISSUE)),
}


def run_here(arguments: list[str]) -> Ran:
    """Run the command line in this process and return what it printed."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(arguments)
    return Ran(code, out.getvalue(), err.getvalue())


@dataclass
class Stages:
    """Records of one kind of database, one a stage.

    Attributes
    ----------
    folder : pathlib.Path
        Folder for the scenario's files and for SQLite's.
    server : str
        Address of a PostgreSQL server; empty for SQLite.
    """

    folder: Path
    server: str = ""
    _urls: dict[str, str] = field(default_factory=dict)
    _databases: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Write the files that commands read."""
        self.files = self.folder / "files"
        write_files(self.files)

    def stage(self, name: str) -> str:
        """Return the address of the record at a stage, which must not be changed."""
        if name not in self._urls:
            self._urls[name] = self._built(name)
        return self._urls[name]

    def _built(self, name: str) -> str:
        if name == "old":
            url = self.copy("")
            load_dump(url, OLDEST)
            return url
        before, acts = STAGES[name]
        url = self.copy(before)
        for act in acts:
            ran = run_here(act.command(url, self.files, self.folder))
            assert ran.code in (DONE, DONE_WITH_FINDINGS), f"stage {name}: {act.name} said {ran.err}"
        return url

    def copy(self, stage: str) -> str:
        """Return the address of a fresh copy of a stage; of an empty database where the stage has no name."""
        source = self.stage(stage) if stage else ""
        name = f"gwnet_fault_{uuid.uuid4().hex}"
        if not self.server:
            path = self.folder / f"{name}.sqlite"
            if source:
                shutil.copyfile(source, path)
            return str(path)
        return self._new_database(name, source.rpartition("/")[2])

    def _new_database(self, name: str, template: str) -> str:
        like = f' TEMPLATE "{template}"' if template else ""
        self._tell_server(f'CREATE DATABASE "{name}"{like}')
        self._databases.append(name)
        return self.server.rpartition("/")[0] + f"/{name}"

    def drop(self, url: str) -> None:
        """Delete a copy."""
        if not self.server:
            for path in self.folder.glob(f"{Path(url).name}*"):
                path.unlink()
            return
        name = url.rpartition("/")[2]
        self._databases.remove(name)
        self._tell_server(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def _tell_server(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(self.server, autocommit=True) as admin:
            admin.execute(statement)

    def close(self) -> None:
        """Delete every database that was made."""
        for name in list(self._databases):
            self.drop(self.server.rpartition("/")[0] + f"/{name}")


@contextlib.contextmanager
def open_stages(folder: Path, server: str = "") -> Iterator[Stages]:
    """Give the stages of one kind of database and delete its databases at the end."""
    stages = Stages(folder, server)
    try:
        yield stages
    finally:
        stages.close()


#: What makes the stages of a kind of database: ``sqlite`` or ``postgresql``.
StagesOf = Callable[[str], Stages]
