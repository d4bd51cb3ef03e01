"""Every exception and warning of the project; imports nothing.

The tree::

    GwnetError(message, *, where=None, fix=None)
      SettingsError
        UnitError
        ClockError
      IngestError
        UnknownTableError
        UnreadableFileError
        LayoutError
          PartialLayoutError(text)
        FileRejectedError(rejections)
      StoreError
        SchemaBehindError
        SchemaAheadError
        NotFoundError
        OverlapError
        RecordClockError
      ReductionError
        ShapeError
      AnalysisError
        TooFewLevelsError
      ReviewError
      OutputError
      ReportError
        DefinitionError
    GwnetWarning
      ArchivalWarning
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class GwnetError(Exception):
    """Base of every error that the project raises on purpose.

    Parameters
    ----------
    message : str
        What was found and what was expected, as one sentence.
    where : str, optional
        File, row and column, or well and time.
    fix : str, optional
        What to do about it.
    """

    def __init__(self, message: str, *, where: str | None = None, fix: str | None = None) -> None:
        self.message = message
        self.where = where
        self.fix = fix
        super().__init__(message)

    def __str__(self) -> str:
        """Return message, place and fix as one text."""
        text = self.message
        if self.where:
            text = f"{self.where}: {text}"
        if self.fix:
            text = f"{text} {self.fix}"
        return text


class SettingsError(GwnetError):
    """A setting of a site or an option has a value that cannot be used."""


class UnitError(SettingsError):
    """A unit is unknown or is of the wrong kind."""


class ClockError(SettingsError):
    """A time zone or a wall-clock time cannot be turned into UTC."""


class IngestError(GwnetError):
    """Something in a file that was to be loaded."""


class UnknownTableError(IngestError):
    """Neither the name nor the columns of a file tell which table it is."""


class UnreadableFileError(IngestError):
    """A file cannot be opened or is not what its name says."""


class LayoutError(IngestError):
    """A layout of logger files is wrong, or does not fit a file."""


class PartialLayoutError(LayoutError):
    """No layout can be proposed that reads a file; what could be inferred is with the error.

    Parameters
    ----------
    message, where, fix : str
        As `GwnetError`.
    text : str
        A layout file that lacks something, with its reasons and doubts as comments.
    """

    def __init__(self, message: str, *, where: str | None = None, fix: str | None = None, text: str) -> None:
        super().__init__(message, where=where, fix=fix)
        self.text = text


class FileRejectedError(IngestError):
    """Rows of a file were rejected, and so nothing of it was written.

    Parameters
    ----------
    message : str
        Summary sentence.
    rejections : sequence of gwnet.records.Rejection
        Every problem found.
    where : str, optional
        The file.
    fix : str, optional
        What to do.
    """

    def __init__(
        self, message: str, rejections: Sequence[Any], *, where: str | None = None, fix: str | None = None
    ) -> None:
        self.rejections = list(rejections)
        super().__init__(message, where=where, fix=fix)


class StoreError(GwnetError):
    """The database cannot be opened, read or written as asked."""


class SchemaBehindError(StoreError):
    """The database was made by an older version of the program."""


class SchemaAheadError(StoreError):
    """The database was made by a newer version of the program."""


class NotFoundError(StoreError):
    """No such site, well, round or other thing on record."""


class OverlapError(StoreError):
    """Two rows would be in force at the same time."""


class RecordClockError(StoreError):
    """The clock is behind the newest state of the record."""


class ReductionError(GwnetError):
    """A reading cannot be turned into an elevation."""


class ShapeError(ReductionError):
    """Arrays do not fit together."""


class AnalysisError(GwnetError):
    """A question cannot be answered from what is on record."""


class TooFewLevelsError(AnalysisError):
    """Fewer levels than the method needs."""


class ReviewError(GwnetError):
    """A review or a decision is not allowed as it was asked for."""


class OutputError(GwnetError):
    """An output cannot be written where it was asked for."""


class ReportError(GwnetError):
    """A report cannot be made."""


class DefinitionError(ReportError):
    """A report definition is wrong."""


class GwnetWarning(UserWarning):
    """Base of the project's warnings."""


class ArchivalWarning(GwnetWarning):
    """A report could not be written as an archival PDF."""
