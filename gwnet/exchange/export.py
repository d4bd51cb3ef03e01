"""Writes an extract of the record in a registered format, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from gwnet.errors import OutputError
from gwnet.exchange.extract import Extract
from gwnet.exchange.registry import ExchangeFormat
from gwnet.whole_files import staged_file, staged_folder


def write_export(extract: Extract, form: ExchangeFormat, path: Path, *, replace: bool = False) -> Path:
    """Write an extract in a format.

    Parameters
    ----------
    extract : Extract
        What is exported.
    form : gwnet.exchange.registry.ExchangeFormat
        The format.
    path : pathlib.Path
        File or folder to make, in a folder that exists.
    replace : bool, optional
        Whether a file that is there may be replaced; a folder that holds something never is.

    Returns
    -------
    pathlib.Path
        The file or folder.

    Raises
    ------
    OutputError
        If the name is not one for the format, something is there already, or it cannot be written; nothing new
        remains then.
    """
    _refuse_name(form, path, replace=replace)
    staged = staged_file(path, "export") if form.ending else staged_folder(path, "export")
    with staged as part:
        try:
            form.write(extract, part)
        except RuntimeError as error:  # the geo library's own errors
            message = f"The export cannot be written: {error}."
            raise OutputError(message, where=str(path)) from error
    return path


def _refuse_name(form: ExchangeFormat, path: Path, *, replace: bool) -> None:
    """Refuse a name that is not one for the format, or where something is already."""
    if form.ending and path.suffix.lower() != form.ending:
        message = f"An export in {form.name} is a file whose name ends in {form.ending}."
        raise OutputError(message, where=str(path), fix=f"Give for example {path.stem or 'record'}{form.ending}.")
    # Before the question whether it may be replaced: a folder is never replaced by a file.
    if form.ending and path.is_dir():
        raise OutputError("There is a folder of this name.", where=str(path), fix="Give another name.")
    if form.ending and path.exists() and not replace:
        message = "There is a file of this name already."
        raise OutputError(message, where=str(path), fix="Give another name, or say --replace.")
    # A folder is not replaced even when asked for: what else lies in it would be lost with it.
    if not form.ending and path.exists() and (not path.is_dir() or any(path.iterdir())):
        message = f"An export in {form.name} is a folder, and there is something of this name already."
        raise OutputError(message, where=str(path), fix="Give another name, or remove it.")
