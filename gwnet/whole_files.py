"""Writes files, all or none: staged beside their targets, replaced together, the old ones put back on failure."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from gwnet.errors import OutputError

_FIXES: Final = {
    errno.ENOENT: "Check that the folder exists and can be written.",
    errno.ENOSPC: "Free some room on the disk, or name another folder.",
    errno.EDQUOT: "Free some room in your quota, or name another folder.",
    errno.EACCES: "Name a folder that may be written to.",
    errno.EROFS: "Name a folder that may be written to.",
    errno.ENOTDIR: "Name a folder, not a file.",
    errno.EEXIST: "Name a folder, not a file.",
}


def write_files(out: str | Path, files: Mapping[str, bytes], what: str) -> dict[str, Path]:
    """Write files into a folder, all of them or none.

    Parameters
    ----------
    out : str or pathlib.Path
        Folder to write into; made when it does not exist.
    files : mapping of str to bytes
        Content by plain file name.
    what : str
        What the files are, for the message: ``map``, ``report``.

    Returns
    -------
    dict of str to pathlib.Path
        Where each file is.

    Raises
    ------
    OutputError
        If a name has path parts, or the folder cannot be written to. Files that were there before are left as they
        were, and nothing new remains.
    """
    folder = Path(out)
    for name in files:
        if Path(name).name != name or name in ("", ".", "..") or "\\" in name or "\0" in name:
            message = f"The file name {name!r} would leave the output folder."
            raise OutputError(message, where=str(folder))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _output_error(what, folder, error) from error
    replace_files({folder / name: content for name, content in files.items()}, what)
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
    mark = f".{os.getpid()}"
    new = {path: path.with_name(f".{path.name}{mark}.new") for path in files}
    old = {path: path.with_name(f".{path.name}{mark}.old") for path in files}
    touched: list[Path] = []
    current = next(iter(files), Path())
    try:
        for current, content in files.items():
            if current.is_dir():
                raise IsADirectoryError(errno.EISDIR, f"{current.name} is a folder there", current.name)
            _write_and_sync(new[current], content)
        for current in files:
            touched.append(current)
            _keep(current, old[current])
            new[current].replace(current)
    except BaseException as error:
        for path in touched:
            _put_back(path, old[path], new[path])
        if isinstance(error, OSError):
            raise _output_error(what, current, error) from error
        raise
    finally:
        for path in (*new.values(), *old.values()):
            if path.parent.is_dir():
                path.unlink(missing_ok=True)
    return list(files)


def _output_error(what: str, where: Path, error: OSError) -> OutputError:
    message = f"The {what} cannot be written: {error.strerror or error}."
    return OutputError(message, where=str(where), fix=_FIXES.get(error.errno or 0))


def _keep(target: Path, old: Path) -> None:
    """Give what is at a name a second name, so that it can be put back; it never goes missing meanwhile."""
    old.unlink(missing_ok=True)
    try:
        os.link(target, old, follow_symlinks=False)
    except FileNotFoundError:
        return
    except OSError:  # a file system without second names
        shutil.copy2(target, old, follow_symlinks=False)


def _put_back(target: Path, old: Path, new: Path) -> None:
    """Undo one replacement: the old file again, or none where there was none."""
    if old.exists():
        old.replace(target)
    elif not new.exists():
        target.unlink(missing_ok=True)


def _write_and_sync(path: Path, content: bytes) -> None:
    path.unlink(missing_ok=True)
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
