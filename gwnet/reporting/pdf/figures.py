"""Vector figures: their size, and their way into the finished document as form objects."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pikepdf
from pikepdf import Name, pdfa

from gwnet.errors import ArchivalWarning, ReportError
from gwnet.reporting.pdf.tags import Element, write_structure

_MIME_TYPES: Final = {"csv": "text/csv", "gpkg": "application/geopackage+sqlite3"}
_EMPTY_RESOURCES: Final = ("/Pattern", "/Shading", "/XObject", "/ExtGState", "/Font")


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a figure is: page counted from 0, lower left corner [pt], scale, and its mark in the structure."""

    key: str
    page: int
    x: float
    y: float
    scale: float
    mark: int | None = None


def figure_size(content: bytes, key: str) -> tuple[float, float]:
    """Return width and height [pt] of a figure's only page.

    Raises
    ------
    ReportError
        If the bytes are not a PDF of one page.
    """
    try:
        with pikepdf.open(io.BytesIO(content)) as source:
            pages = len(source.pages)
            box = [float(edge) for edge in source.pages[0].mediabox] if pages else []
    except pikepdf.PdfError as error:
        message = f"Figure {key!r} is not a readable PDF: {error}"
        raise ReportError(message) from error
    if pages != 1:
        message = f"Figure {key!r} has {pages} pages; a figure has one."
        raise ReportError(message)
    return box[2] - box[0], box[3] - box[1]


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished document.

    Parameters
    ----------
    content : bytes
        The PDF.
    archival : bool
        Whether it was validated as PDF/A-3b.
    """

    content: bytes
    archival: bool


def finish(
    base: bytes,
    placements: Iterable[Placement],
    figures: Mapping[str, bytes],
    *,
    information: Mapping[str, str],
    moment: dt.datetime,
    attachments: Mapping[str, bytes] | None = None,
    structure: Element | None = None,
) -> Finished:
    """Put the figures on their pages, attach files, write the metadata and save with reproducible bytes.

    Parameters
    ----------
    base : bytes
        The document without its figures.
    placements : iterable of Placement
        Where each figure is.
    figures : mapping of str to bytes
        PDF of each figure by key.
    information : mapping of str to str
        Title, Author, Subject, Keywords, Creator, Producer.
    moment : datetime
        Zone-aware time given for making and changing the document.
    attachments : mapping of str to bytes, optional
        Files to carry inside the document, by name.
    structure : Element, optional
        Structure of what is drawn, for readers who do not see the pages.

    Returns
    -------
    Finished
        The PDF; the same input gives the same bytes. It is PDF/A-3b (ISO 19005-3) where it passes validation, and
        plain PDF, with an `ArchivalWarning`, where a figure holds what that standard does not allow.
    """
    places = sorted(placements, key=lambda item: (item.page, -item.y, item.x))

    def written(archival: bool) -> bytes:
        with pikepdf.open(io.BytesIO(base)) as document, contextlib.ExitStack() as sources:
            for number, place in enumerate(places, start=1):
                source = sources.enter_context(pikepdf.open(io.BytesIO(figures[place.key])))
                _place(document, source, place, number)
            for page in document.pages:
                if "/Trans" in page:
                    del page["/Trans"]
            if structure is not None:
                write_structure(document, structure)
            _drop_empty_resources(document)
            _attach(document, attachments or {}, moment)
            _write_information(document, information, moment)
            return _saved(document, information, moment, archival=archival)

    try:
        return Finished(written(archival=True), archival=True)
    except pdfa.PdfaError as error:
        message = f"The report is written as plain PDF, not as PDF/A-3b: {error}"
        warnings.warn(message, ArchivalWarning, stacklevel=2)
        return Finished(written(archival=False), archival=False)


def _saved(document: pikepdf.Pdf, information: Mapping[str, str], moment: dt.datetime, *, archival: bool) -> bytes:
    target = io.BytesIO()
    if not archival:
        document.save(target, deterministic_id=True, fix_metadata_version=False)
        return target.getvalue()
    pdfa.prepare(document, "3b")
    stamp = moment.astimezone(dt.UTC).isoformat(timespec="seconds")
    with document.open_metadata(set_pikepdf_as_editor=False, update_docinfo=True) as metadata:
        metadata["xmp:MetadataDate"] = stamp
        metadata["pdf:Producer"] = information.get("Producer", "")
    pdfa.save(document, target, "3b", repair=False, deterministic_id=True)
    return target.getvalue()


def _pdf_date(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).strftime("D:%Y%m%d%H%M%S+00'00'")


def _attach(document: pikepdf.Pdf, attachments: Mapping[str, bytes], moment: dt.datetime) -> None:
    stamp = _pdf_date(moment)
    for name, content in attachments.items():
        document.attachments[name] = pikepdf.AttachedFileSpec(
            document,
            content,
            filename=name,
            mime_type=_MIME_TYPES.get(name.rpartition(".")[2], "application/octet-stream"),
            relationship=Name.Data,
            creation_date=stamp,
            mod_date=stamp,
        )


def _place(document: pikepdf.Pdf, source: pikepdf.Pdf, place: Placement, number: int) -> None:
    page = document.pages[place.page]
    left, bottom = (float(edge) for edge in source.pages[0].mediabox[:2])
    form = document.copy_foreign(source.pages[0].as_form_xobject())
    name = page.add_resource(form, Name.XObject, name=Name(f"/Fig{number}"))
    x, y = place.x - left * place.scale, place.y - bottom * place.scale
    matrix = f"{place.scale:.6f} 0 0 {place.scale:.6f} {x:.4f} {y:.4f}"
    drawn = f"q {matrix} cm {name} Do Q"
    if place.mark is not None:
        drawn = f"/Figure <</MCID {place.mark}>> BDC {drawn} EMC"
    # under the text of the page, which may stand on a free part of the figure
    page.contents_add(drawn.encode("ascii"), prepend=True)


def _drop_empty_resources(document: pikepdf.Pdf) -> None:
    for item in document.objects:
        if not isinstance(item, pikepdf.Dictionary | pikepdf.Stream):
            continue
        resources: Any = item.get("/Resources")
        if not isinstance(resources, pikepdf.Dictionary):
            continue
        for key in _EMPTY_RESOURCES:
            if key in resources and len(resources[key].keys()) == 0:
                del resources[key]


def _write_information(document: pikepdf.Pdf, information: Mapping[str, str], moment: dt.datetime) -> None:
    stamp = _pdf_date(moment)
    for key in list(document.docinfo.keys()):
        del document.docinfo[key]
    for key, value in information.items():
        if value:
            document.docinfo[Name(f"/{key}")] = value
    document.docinfo[Name.CreationDate] = stamp
    document.docinfo[Name.ModDate] = stamp
