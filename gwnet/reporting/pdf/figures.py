"""Vector figures: their size, and their way into the finished document as form objects."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import pikepdf
from pikepdf import Name

from gwnet.errors import ReportError
from gwnet.figures.base.archive import Finished, finished, pdf_date
from gwnet.reporting.pdf.tags import Element, write_structure

_MIME_TYPES: Final = {"csv": "text/csv", "gpkg": "application/geopackage+sqlite3"}


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

    @contextlib.contextmanager
    def assembled() -> Iterator[pikepdf.Pdf]:
        with pikepdf.open(io.BytesIO(base)) as document, contextlib.ExitStack() as sources:
            for number, place in enumerate(places, start=1):
                source = sources.enter_context(pikepdf.open(io.BytesIO(figures[place.key])))
                _place(document, source, place, number)
            for page in document.pages:
                if "/Trans" in page:
                    del page["/Trans"]
            if structure is not None:
                write_structure(document, structure)
            _attach(document, attachments or {}, moment)
            yield document

    return finished(assembled, information, moment, "report")


def _attach(document: pikepdf.Pdf, attachments: Mapping[str, bytes], moment: dt.datetime) -> None:
    stamp = pdf_date(moment)
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
    left, bottom, *_ = (float(edge) for edge in source.pages[0].mediabox)
    form = document.copy_foreign(source.pages[0].as_form_xobject())
    name = page.add_resource(form, Name.XObject, name=Name(f"/Fig{number}"))
    x, y = place.x - left * place.scale, place.y - bottom * place.scale
    matrix = f"{place.scale:.6f} 0 0 {place.scale:.6f} {x:.4f} {y:.4f}"
    drawn = f"q {matrix} cm {name} Do Q"
    if place.mark is not None:
        drawn = f"/Figure <</MCID {place.mark}>> BDC {drawn} EMC"
    # under the text of the page, which may stand on a free part of the figure
    page.contents_add(drawn.encode("ascii"), prepend=True)
