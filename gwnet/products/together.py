"""Writes the files of one product: all of them or none."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from gwnet.errors import OutputError


def write_together(out: Path | str, makers: dict[str, Callable[[Path], object]], what: str = "files") -> list[Path]:
    """Write files into a folder, all of them or none.

    Parameters
    ----------
    out : pathlib.Path or str
        Folder; made when it does not exist.
    makers : dict of str to callable
        Name of each file, and what writes it to a path.
    what : str, optional
        What the files are, for the message.

    Returns
    -------
    list of pathlib.Path
        The files, in order.

    Raises
    ------
    OutputError
        If the folder cannot be made or written.
    """
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".made-") as name:
            made = Path(name)
            for part, maker in makers.items():
                maker(made / part)
            for part in makers:
                (made / part).replace(folder / part)
    except OSError as error:
        message = f"The {what} cannot be written: {error.strerror or error}."
        raise OutputError(message, where=str(folder), fix="Give another folder with --out.") from error
    return [folder / part for part in makers]
