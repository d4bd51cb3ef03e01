"""PDF/A-3b (ISO 19005-3): how a document is made archival, validated, and written with the same bytes each time.

Where the installed pikepdf has no validator, or a document holds what the standard does not allow, it is written as
plain PDF with an `gwnet.errors.ArchivalWarning` that says why; nothing claims to be archival that was not validated.
"""

from __future__ import annotations

import datetime as dt
import io
import warnings
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from gwnet.errors import ArchivalWarning

if TYPE_CHECKING:
    import pikepdf

#: What a document is called in the manifest where it was validated, and where it was not.
ARCHIVAL: Final = "PDF/A-3b"
PLAIN: Final = "PDF"
_EMPTY_RESOURCES: Final = ("/Pattern", "/Shading", "/XObject", "/ExtGState", "/Font")


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished document.

    Parameters
    ----------
    content : bytes
        The PDF.
    archival : bool
        Whether it was validated as PDF/A-3b.
    reason : str
        Why it was not; empty where it was.
    """

    content: bytes
    archival: bool
    reason: str = ""


def finished(
    assembled: Callable[[], AbstractContextManager[pikepdf.Pdf]],
    information: Mapping[str, str],
    moment: dt.datetime | None,
    what: str,
) -> Finished:
    """Write a document as PDF/A-3b where it passes validation, else as plain PDF with a warning.

    Parameters
    ----------
    assembled : callable
        Opens the document, anew at each call.
    information : mapping of str to str
        Title, Author, Subject, Keywords, Creator, Producer.
    moment : datetime or None
        Zone-aware time given for making and changing the document; none is given for None.
    what : str
        What the document is called in the warning, for example ``report``.

    Returns
    -------
    Finished
        The PDF; the same input gives the same bytes.
    """
    try:
        from pikepdf import pdfa
    # Validation came with one version of the library; older ones are allowed, and only the archival form is lost.
    except ImportError:
        reason = "the installed pikepdf cannot validate it; version 10.18 or newer can"
        return _plain(assembled, information, moment, what, reason)
    try:
        with assembled() as document:
            _prepare(document, information, moment)
            # PDF/A-3 lets a report carry its tables as attachments of any kind (ISO 19005-3).
            pdfa.prepare(document, "3b")
            with document.open_metadata(set_pikepdf_as_editor=False, update_docinfo=True) as metadata:
                if moment is not None:
                    metadata["xmp:MetadataDate"] = moment.astimezone(dt.UTC).isoformat(timespec="seconds")
                # Otherwise the clock would stand in the file, and the same figure give other bytes every time.
                elif "xmp:MetadataDate" in metadata:
                    del metadata["xmp:MetadataDate"]
                metadata["pdf:Producer"] = information.get("Producer", "")
            target = io.BytesIO()
            # No repair: what the library changes silently could change what is seen.
            pdfa.save(document, target, "3b", repair=False, deterministic_id=True)
    except pdfa.PdfaError as error:
        return _plain(assembled, information, moment, what, str(error))
    return Finished(target.getvalue(), archival=True)


def archival_pages(content: bytes, information: Mapping[str, str], what: str = "figure") -> Finished:
    """Return pages drawn by matplotlib as PDF/A-3b, or plain with a warning.

    Parameters
    ----------
    content : bytes
        PDF of the pages.
    information : mapping of str to str
        As of `finished`.
    what : str, optional
        What the document is called in a warning.

    Returns
    -------
    Finished
        The PDF. Where pikepdf is not installed it is the content as it was, and the warning says so.
    """
    try:
        import pikepdf
    except ImportError:
        reason = "pikepdf is not installed"
        _warn(what, reason)
        return Finished(content, archival=False, reason=reason)
    return finished(lambda: pikepdf.open(io.BytesIO(content)), information, None, what)


def _plain(
    assembled: Callable[[], AbstractContextManager[pikepdf.Pdf]],
    information: Mapping[str, str],
    moment: dt.datetime | None,
    what: str,
    reason: str,
) -> Finished:
    _warn(what, reason)
    target = io.BytesIO()
    with assembled() as document:
        _prepare(document, information, moment)
        # Deterministic, so that the plain file has the same bytes every time as well.
        document.save(target, deterministic_id=True, fix_metadata_version=False)
    return Finished(target.getvalue(), archival=False, reason=reason)


def _warn(what: str, reason: str) -> None:
    message = f"The {what} is written as plain PDF, not as {ARCHIVAL}: {reason}"
    warnings.warn(message, ArchivalWarning, stacklevel=3)


def _prepare(document: pikepdf.Pdf, information: Mapping[str, str], moment: dt.datetime | None) -> None:
    _drop_empty_resources(document)
    _write_information(document, information, moment)


def _drop_empty_resources(document: pikepdf.Pdf) -> None:
    import pikepdf

    for item in document.objects:
        if not isinstance(item, pikepdf.Dictionary | pikepdf.Stream):
            continue
        resources: Any = item.get("/Resources")
        if not isinstance(resources, pikepdf.Dictionary):
            continue
        for key in _EMPTY_RESOURCES:
            if key in resources and len(resources[key].keys()) == 0:
                del resources[key]


def pdf_date(moment: dt.datetime) -> str:
    """Return a time as PDF writes it (ISO 32000-1, 7.9.4), in UTC."""
    return moment.astimezone(dt.UTC).strftime("D:%Y%m%d%H%M%S+00'00'")


def _write_information(document: pikepdf.Pdf, information: Mapping[str, str], moment: dt.datetime | None) -> None:
    from pikepdf import Name

    # What the drawing library wrote of itself goes: archives compare both places of metadata, and they must agree.
    for key in list(document.docinfo.keys()):
        del document.docinfo[key]
    for key, value in information.items():
        if value:
            document.docinfo[Name(f"/{key}")] = value
    if moment is not None:
        document.docinfo[Name.CreationDate] = pdf_date(moment)
        document.docinfo[Name.ModDate] = pdf_date(moment)
