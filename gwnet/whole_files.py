"""Writes sets of files, all of them or none, whatever happens: an error, a full disk, a killed process, a second run.

The new files are staged in a hidden folder beside their targets and synced; then the set is decided, by one rename or
by a registration in a database; then each file is put in place. One run at a time holds a folder (`flock`). What a
killed run left is found under that lock by the next one: a decided set is completed, any other is removed.
"""

from __future__ import annotations

import errno
import json
import os
import platform
import shutil
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gwnet.errors import OutputError

if sys.platform != "win32":
    import fcntl

#: First signs of the folders in which files are staged.
STAGED: Final = ".gwnet-staged-"
#: What a staging folder holds: the new files, the old ones that they replace, and what the set is.
_NEW, _OLD, _BEGUN, _DECIDED = "new", "old", "begun.json", "decided.json"

#: How long a run waits for another one that writes into the same folder [s].
_WAIT_S = 60.0

_FIXES: Final = {
    errno.ENOENT: "Check that the folder exists and can be written.",
    errno.ENOSPC: "Free some room on the disk, or name another folder.",
    errno.EDQUOT: "Free some room in your quota, or name another folder.",
    errno.EACCES: "Name a folder that may be written to.",
    errno.EPERM: "Name a folder that may be written to.",
    errno.EROFS: "Name a folder that may be written to.",
    errno.ENOTDIR: "Name a folder, not a file.",
    errno.EEXIST: "Name a folder, not a file.",
    errno.ENOTEMPTY: "Name a folder that is empty, or one that is not there yet.",
}


@dataclass(frozen=True)
class Registration:
    """The registration of a set of files in a database, which decides that the set is written.

    Attributes
    ----------
    mark : dict
        What the registration is of, as plain JSON; kept in the staging folder for `finish_begun`.
    register : callable
        Registers the set and returns when that is stored for good; raises where it is not.
    is_registered : callable
        Returns whether a mark is on record; None where that cannot be known.
    """

    mark: dict[str, str]
    register: Callable[[], None]
    is_registered: Callable[[Mapping[str, str]], bool | None]


def write_files(
    out: str | Path, files: Mapping[str, bytes], what: str, registration: Registration | None = None
) -> dict[str, Path]:
    """Write files into a folder, all of them or none.

    Parameters
    ----------
    out : str or pathlib.Path
        Folder to write into; made when it does not exist.
    files : mapping of str to bytes
        Content by plain file name.
    what : str
        What the files are, for the message: ``map``, ``report``.
    registration : Registration, optional
        Registers the files once all of them are staged; they are put in place only where that succeeds.

    Returns
    -------
    dict of str to pathlib.Path
        Where each file is.

    Raises
    ------
    OutputError
        If a name has path parts, or the folder cannot be written to. Files that were there before are left as they
        were, and nothing new remains, not even the folder.
    """
    folder = Path(out)
    for name in files:
        if (
            Path(name).name != name
            or name in ("", ".", "..")
            or "\\" in name
            or "\0" in name
            or name.startswith(STAGED)
        ):
            message = f"The file name {name!r} would leave the output folder."
            raise OutputError(message, where=str(folder))
    with _reported(what, folder):
        made = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        with _held([folder], what, make=True):
            _write({folder / name: content for name, content in files.items()}, what, registration)
    except BaseException:
        for path in made:
            with suppress(OSError):  # another run has put something there, or it was never made
                path.rmdir()
        raise
    return {name: folder / name for name in files}


def replace_files(files: Mapping[Path, bytes], what: str) -> list[Path]:
    """Write files in folders that exist, all of them or none.

    Parameters
    ----------
    files : mapping of pathlib.Path to bytes
        Content by path.
    what : str
        What the files are, for the message.

    Returns
    -------
    list of pathlib.Path
        The files, in order.

    Raises
    ------
    OutputError
        If one of them cannot be written. Files that were there before are left as they were, and nothing new remains.
    """
    with _held([path.parent for path in files], what):
        _write(files, what)
    return list(files)


@contextmanager
def staged_file(target: Path, what: str) -> Iterator[Path]:
    """Give a path to write one file to, which is synced and takes its target's place at the end.

    Parameters
    ----------
    target : pathlib.Path
        The file, in a folder that exists.
    what : str
        What it is, for the message.

    Yields
    ------
    pathlib.Path
        Path of a file that does not exist yet. Where an exception leaves the block nothing of it remains.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    with _held([target.parent], what), _reported(what, target), _begun([target], what) as (stage,):
        yield stage.new / target.name
        _put_in_place([stage])


@contextmanager
def staged_folder(target: Path, what: str) -> Iterator[Path]:
    """Give an empty folder to fill, which is synced and takes its target's place at the end.

    Parameters
    ----------
    target : pathlib.Path
        The folder, in one that exists; it is not there yet, or is empty.
    what : str
        What it is, for the message.

    Yields
    ------
    pathlib.Path
        The folder. Where an exception leaves the block nothing of it remains.

    Raises
    ------
    OutputError
        If it cannot be written, or the target holds something.
    """
    with _held([target.parent], what), _reported(what, target), _begun([target], what) as (stage,):
        folder = stage.new / target.name
        folder.mkdir()
        yield folder
        for path in folder.rglob("*"):
            _sync(path)
        if target.exists():
            target.rmdir()  # empty, or nothing is put in place
        _put_in_place([stage])


def finish_begun(folder: Path, is_registered: Callable[[Mapping[str, str]], bool | None]) -> list[Path]:
    """Complete or remove what a killed run left in a folder, registered sets included.

    Parameters
    ----------
    folder : pathlib.Path
        Folder that may not exist.
    is_registered : callable
        As that of a `Registration`.

    Returns
    -------
    list of pathlib.Path
        Files that were put in place.

    Raises
    ------
    OutputError
        If the folder cannot be written to.
    """
    if not any(folder.glob(f"{STAGED}*")):
        return []
    with _held([folder], "files", is_registered) as completed:
        return completed


# --- one set of files -----------------------------------------------------------------------------------------------


def _write(files: Mapping[Path, bytes], what: str, registration: Registration | None = None) -> None:
    for path in files:
        if path.is_dir():
            message = f"The {what} cannot be written: {path.name} is a folder there."
            raise OutputError(message, where=str(path), fix="Name another folder.")
    where = next(iter(files), Path())
    with _reported(what, where), _begun(list(files), what, registration) as stages:
        for stage in stages:
            for name in stage.names:
                (stage.new / name).write_bytes(files[stage.folder / name])
        _put_in_place(stages, registration)


@contextmanager
def _begun(paths: Sequence[Path], what: str, registration: Registration | None = None) -> Iterator[list[_Stage]]:
    """Give a staging folder for each folder of some files; remove them at the end unless the set is decided."""
    folders = dict.fromkeys(path.parent for path in paths)
    stages = [_Stage(folder, [path.name for path in paths if path.parent == folder]) for folder in folders]
    mark = None if registration is None else registration.mark
    try:
        for stage in stages:
            stage.begin(what, stages, mark)
        yield stages
    finally:
        if not stages or not stages[0].is_kept():
            for stage in reversed(stages):
                stage.remove()


def _put_in_place(stages: Sequence[_Stage], registration: Registration | None = None) -> None:
    """Decide the set and put each file in place; put the old ones back where that fails, unless it is registered."""
    if not stages:
        return
    for stage in stages:
        stage.sync()
        stage.keep_old()
    leader = stages[0]
    if registration is not None:
        _register(leader, registration)
    try:
        leader.decide()
        for stage in stages:
            stage.replace()
    except BaseException as error:
        if registration is not None:
            message = f"The files are registered, but not all of them could be put in place: {error}."
            fix = "Remove the cause and run the command again; it puts the others in place."
            raise OutputError(message, where=str(leader.folder), fix=fix) from error
        for stage in stages:
            stage.put_back()
        leader.withdraw()
        raise
    for stage in reversed(stages):  # the leader last: the others are decided by it
        stage.remove()


def _register(leader: _Stage, registration: Registration) -> None:
    """Register a set; where that fails half-known, keep what is staged for the next run to ask."""
    leader.keep()
    try:
        registration.register()
    except BaseException:
        answer = registration.is_registered(registration.mark)
        if answer is False:
            leader.remove()
        if not answer:
            raise


class _Stage:
    """A staging folder beside its targets.

    Parameters
    ----------
    folder : pathlib.Path
        Folder of the targets.
    names : sequence of str
        Their names.
    at : pathlib.Path, optional
        Staging folder that exists; a new one unless given.
    """

    def __init__(self, folder: Path, names: Sequence[str], at: Path | None = None) -> None:
        self.folder = folder
        self.names = list(names)
        self.at = at or folder / f"{STAGED}{uuid.uuid4().hex[:12]}"
        self.new = self.at / _NEW
        self.old = self.at / _OLD
        self._kept = False

    def begin(self, what: str, stages: Sequence[_Stage], mark: Mapping[str, str] | None) -> None:
        """Make the staging folder with what it is for; the first of several decides for all."""
        leader, *followers = stages
        content = {
            "what": what,
            "files": self.names,
            "led_by": None if self is leader else str(leader.at.resolve()),
            "leads": [str(stage.at.resolve()) for stage in followers] if self is leader else [],
            "mark": mark,
            "host": platform.node(),
            "process": os.getpid(),
        }
        self.at.mkdir()
        self.new.mkdir()
        self.old.mkdir()
        path = self.at / _BEGUN
        path.write_text(json.dumps(content), encoding="utf-8")
        _sync(path)

    def sync(self) -> None:
        """Let the disk have everything that is staged."""
        for path in (*(self.new / name for name in self.names), self.new, self.at, self.folder):
            _sync(path)

    def keep_old(self) -> None:
        """Give the files that are replaced a second name; they never go missing meanwhile."""
        for name in self.names:
            if not os.path.lexists(self.folder / name):
                continue
            try:
                os.link(self.folder / name, self.old / name, follow_symlinks=False)
            except OSError:  # a file system without second names
                shutil.copy2(self.folder / name, self.old / name, follow_symlinks=False)

    def keep(self) -> None:
        """Leave the staging folder for the next run, whatever happens from here on."""
        self._kept = True

    def is_kept(self) -> bool:
        """Return whether the staging folder is for the next run, should anything be left of it."""
        return self._kept or (self.at / _DECIDED).exists()

    def decide(self) -> None:
        """Say that the set is to be completed."""
        os.replace(self.at / _BEGUN, self.at / _DECIDED)  # noqa: PTH105 (the tests stop at each call of the system)
        _sync(self.at)

    def withdraw(self) -> None:
        """Say that the set is not to be completed."""
        if (self.at / _DECIDED).exists():
            os.replace(self.at / _DECIDED, self.at / _BEGUN)  # noqa: PTH105

    def replace(self) -> list[Path]:
        """Put in place what is still staged."""
        placed = []
        for name in self.names:
            if os.path.lexists(self.new / name):
                os.replace(self.new / name, self.folder / name)  # noqa: PTH105
                placed.append(self.folder / name)
        _sync(self.folder)
        return placed

    def put_back(self) -> None:
        """Undo `replace`: the new files are staged again, the old ones in place."""
        for name in self.names:
            if not os.path.lexists(self.new / name):
                os.replace(self.folder / name, self.new / name)  # noqa: PTH105
                if os.path.lexists(self.old / name):
                    os.replace(self.old / name, self.folder / name)  # noqa: PTH105

    def remove(self) -> None:
        """Remove the staging folder."""
        self._kept = False
        shutil.rmtree(self.at, ignore_errors=True)


# --- what a killed run left -------------------------------------------------------------------------------------------


def _settle(
    folder: Path, is_registered: Callable[[Mapping[str, str]], bool | None] | None, *, is_locked: bool
) -> list[Path]:
    """Complete or remove each set that was begun in a folder by a run that is no more."""
    completed: list[Path] = []
    for at in sorted(folder.glob(f"{STAGED}*")):
        decided, content = _read_begun(at)
        if not is_locked and _may_be_alive(content):
            continue
        stage, leader = _Stage(folder, content.get("files", ()), at), content.get("led_by")
        if leader and not decided:
            decided = (Path(leader) / _DECIDED).exists()
        elif content.get("mark") and not decided:
            answer = None if is_registered is None else is_registered(content["mark"])
            if answer is None:
                continue  # only the database that it is registered in knows
            if answer:
                stage.decide()
            decided = answer
        if decided:
            completed += _complete(stage, content.get("leads", ()))
        stage.remove()
    return completed


def _complete(stage: _Stage, followers: Sequence[str]) -> list[Path]:
    """Put in place what is left of a decided set, and of the sets in other folders that it leads."""
    placed = stage.replace()
    for at in map(Path, followers):
        if at.is_dir():
            follower = _Stage(at.parent, _read_begun(at)[1].get("files", ()), at)
            placed += follower.replace()
            follower.remove()
    return placed


def _read_begun(at: Path) -> tuple[bool, dict[str, Any]]:
    """Return whether a set is decided, and what it is; nothing where its description was not written to the end."""
    for name in (_DECIDED, _BEGUN):
        try:
            content = json.loads((at / name).read_text(encoding="utf-8"))
        except (FileNotFoundError, NotADirectoryError):
            continue
        except ValueError:
            return False, {}
        return name == _DECIDED, content if isinstance(content, dict) else {}
    return False, {}


def _may_be_alive(content: Mapping[str, Any]) -> bool:
    """Return whether the run that began a set may still be at work, where no lock says so."""
    if content.get("host") != platform.node():
        return True
    try:
        os.kill(int(content["process"]), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


# --- one run at a time ------------------------------------------------------------------------------------------------


@contextmanager
def _held(
    folders: Sequence[Path],
    what: str,
    is_registered: Callable[[Mapping[str, str]], bool | None] | None = None,
    *,
    make: bool = False,
) -> Iterator[list[Path]]:
    """Hold folders against other runs, all in one order; give the files of killed runs that were put in place."""
    completed: list[Path] = []
    with ExitStack() as held:
        for folder in sorted(dict.fromkeys(folders), key=lambda folder: str(folder.resolve())):
            with _reported(what, folder):
                descriptor, is_locked = _lock(folder, what, make=make)
                held.callback(os.close, descriptor)
                completed += _settle(folder, is_registered, is_locked=is_locked)
        yield completed


def _lock(folder: Path, what: str, *, make: bool) -> tuple[int, bool]:
    """Return an open folder, and whether it is locked: some file systems know no locks."""
    until = time.monotonic() + _WAIT_S
    while True:
        if make:
            folder.mkdir(parents=True, exist_ok=True)
        try:
            descriptor, is_locked = lock_folder(folder)
        except BlockingIOError:
            if time.monotonic() > until:
                message = f"The {what} cannot be written: another run is writing into the folder."
                raise OutputError(message, where=str(folder), fix="Wait until it is done, then try again.") from None
        else:
            if not is_locked or (folder.exists() and os.path.samestat(os.fstat(descriptor), folder.stat())):
                return descriptor, is_locked
            os.close(descriptor)
        time.sleep(0.02)


def lock_folder(folder: Path) -> tuple[int, bool]:
    """Open a folder and lock it against other runs; the system lets go of it when a run is killed.

    Parameters
    ----------
    folder : pathlib.Path
        The folder.

    Returns
    -------
    tuple of int and bool
        The open folder, to be closed, and whether it is locked: Windows and some file systems know no locks.

    Raises
    ------
    BlockingIOError
        If another run holds it.
    """
    if sys.platform == "win32":
        return os.open(os.devnull, os.O_RDONLY), False
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        raise
    except OSError:
        return descriptor, False
    return descriptor, True


def _sync(path: Path) -> None:
    """Let the disk have a file or the names in a folder."""
    if os.name == "nt" and path.is_dir():
        return  # folders cannot be opened there
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _reported(what: str, where: Path) -> Iterator[None]:
    """Turn a refusal of the system into the project's own error."""
    try:
        yield
    except OSError as error:
        message = f"The {what} cannot be written: {error.strerror or error}."
        raise OutputError(message, where=str(where), fix=_FIXES.get(error.errno or 0)) from error
