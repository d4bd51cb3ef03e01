"""Tags of a PDF: what is a heading, a paragraph, a table or a figure, for readers who do not see the page.

A `TaggedCanvas` notes the structure while the pages are drawn; `write_structure` puts it into the finished document
(ISO 32000-1, sections 14.6 to 14.8). Drawing functions name what they draw with `element` and `content`, and what is
no part of the text (rules, running headers) with `artifact`; on any other canvas these do nothing.

What a table repeats on its next page is an artifact, so that it is read once. Links are not tagged, so the file does
not claim PDF/UA.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph


@dataclass(eq=False)
class Element:
    """One element of the structure.

    Parameters
    ----------
    kind : str
        Standard structure type, for example ``H1``, ``P``, ``TD``.
    attributes : dict
        ``alt`` (text for what cannot be seen), ``scope`` (of a heading cell), ``columns`` (that a cell spans) and
        ``box`` (of a figure, in points from the lower left corner of its page).
    kids : list
        Elements, and marks on pages as pairs of page (from 0) and number.
    """

    kind: str
    attributes: dict[str, Any] = field(default_factory=dict)
    kids: list[Any] = field(default_factory=list)


class TaggedCanvas(Canvas):  # type: ignore[misc]
    """Canvas that notes the structure of what is drawn on it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.structure = Element("Document")
        self._open = [self.structure]
        self._split: dict[str, Element] = {}
        self._marks: dict[int, int] = {}
        self.quiet = 0

    def enter(self, kind: str, key: str = "", **attributes: Any) -> None:
        """Begin an element; one with a key goes on where it was begun before."""
        # A table or list that runs over pages is one element, though it is drawn in parts.
        found = self._split.get(key) if key else None
        if found is None:
            found = Element(kind, {name: value for name, value in attributes.items() if value})
            self._open[-1].kids.append(found)
            if key:
                self._split[key] = found
        self._open.append(found)

    def leave(self) -> None:
        """End an element."""
        self._open.pop()

    def mark(self) -> int:
        """Return the number of a new mark on this page, noted for the element that is open."""
        page = self.getPageNumber() - 1
        # From 0 on each page and without gaps: marks are indices into the page's row of the parent tree (ISO 32000-1,
        # 14.7.4.4).
        number = self._marks.get(page, 0)
        self._marks[page] = number + 1
        self._open[-1].kids.append((page, number))
        return number

    def note(self, **attributes: Any) -> None:
        """Add to the element that is open what is known of it only now."""
        self._open[-1].attributes.update(attributes)

    def begin(self, number: int) -> None:
        """Begin the content of a mark."""
        # The library has no call for marked content; the operator goes into the page as text.
        self._code.append(f"/{self._open[-1].kind} <</MCID {number}>> BDC")

    def begin_artifact(self) -> None:
        """Begin what is no part of the text."""
        self._code.append("/Artifact BMC")

    def end(self) -> None:
        """End the content of a mark or artifact."""
        self._code.append("EMC")


@contextmanager
def element(canvas: Any, kind: str, key: str = "", **attributes: Any) -> Iterator[None]:
    """Name what is drawn meanwhile as one element; it may hold others."""
    if not isinstance(canvas, TaggedCanvas):
        yield
        return
    canvas.enter(kind, key, **attributes)
    try:
        yield
    finally:
        canvas.leave()


@contextmanager
def content(canvas: Any, kind: str = "", **attributes: Any) -> Iterator[None]:
    """Draw content of the element that is open, or of a new one of the kind."""
    if not isinstance(canvas, TaggedCanvas):
        yield
        return
    if kind:
        canvas.enter(kind, **attributes)
    canvas.begin(canvas.mark())
    try:
        yield
    finally:
        canvas.end()
        if kind:
            canvas.leave()


@contextmanager
def artifact(canvas: Any) -> Iterator[None]:
    """Draw what is no part of the text."""
    if not isinstance(canvas, TaggedCanvas):
        yield
        return
    canvas.begin_artifact()
    try:
        yield
    finally:
        canvas.end()


def reserve(canvas: Any, **attributes: Any) -> int | None:
    """Return a mark of the open element for content that comes into the page later; None on another canvas."""
    if not isinstance(canvas, TaggedCanvas):
        return None
    canvas.note(**attributes)
    return canvas.mark()


class TaggedParagraph(Paragraph):  # type: ignore[misc]
    """A paragraph that is an element of its own, of kind ``tag``."""

    tag = "P"

    def draw(self) -> None:
        """Draw the text."""
        if getattr(self.canv, "quiet", 0):
            super().draw()
            return
        with content(self.canv, self.tag):
            super().draw()


class CaptionParagraph(TaggedParagraph):
    """The caption of a table or figure."""

    tag = "Caption"


class TitleParagraph(TaggedParagraph):
    """The title of the document."""

    tag = "H1"


class ItemParagraph(TaggedParagraph):
    """An item of a list; those with the same ``list_key`` are items of one."""

    tag = "LBody"
    list_key = ""

    def draw(self) -> None:
        """Draw the text."""
        with element(self.canv, "L", key=self.list_key), element(self.canv, "LI"):
            super().draw()


def write_structure(document: pikepdf.Pdf, structure: Element) -> None:
    """Put the structure of a document into it.

    Parameters
    ----------
    document : pikepdf.Pdf
        Document whose pages hold the marks.
    structure : Element
        Root of the structure, from a `TaggedCanvas`.
    """
    tree = document.make_indirect(Dictionary(Type=Name.StructTreeRoot))
    parents: dict[int, dict[int, Any]] = {}
    tree.K = Array([_built(document, structure, tree, parents)])
    numbers = Array()
    for place, page in enumerate(document.pages):
        marks = parents.get(place, {})
        if not marks:
            continue
        page.StructParents = place
        # In the order of the structure, as PDF/UA-1 asks of pages with annotations (ISO 14289-1, 7.18.3; from memory).
        page.Tabs = Name.S
        # Place in the array is number of the mark, so one that is missing is an error here and not a wrong tag.
        held = Array([marks[number] for number in range(max(marks) + 1)])
        numbers.extend([place, document.make_indirect(held)])
    tree.ParentTree = document.make_indirect(Dictionary(Nums=numbers))
    tree.ParentTreeNextKey = len(document.pages)
    document.Root.StructTreeRoot = tree
    document.Root.MarkInfo = Dictionary(Marked=True)


def _built(document: pikepdf.Pdf, item: Element, parent: Any, parents: dict[int, dict[int, Any]]) -> Any:
    made = document.make_indirect(Dictionary(Type=Name.StructElem, S=Name(f"/{item.kind}"), P=parent))
    _describe(made, item.attributes)
    kids = Array()
    for kid in item.kids:
        if isinstance(kid, Element):
            kids.append(_built(document, kid, made, parents))
            continue
        page, number = kid
        parents.setdefault(page, {})[number] = made
        kids.append(Dictionary(Type=Name.MCR, Pg=document.pages[page].obj, MCID=number))
    if len(kids):
        made.K = kids
    return made


def _describe(made: Any, attributes: dict[str, Any]) -> None:
    if "alt" in attributes:
        made.Alt = pikepdf.String(attributes["alt"])
    # Figures have a box, cells a scope or columns; none has both, so neither overwrites the other.
    if "box" in attributes:
        made.A = Dictionary(
            O=Name.Layout, Placement=Name.Block, BBox=Array([round(edge, 2) for edge in attributes["box"]])
        )
    table = {}
    if "scope" in attributes:
        table["/Scope"] = Name(f"/{attributes['scope']}")
    if attributes.get("columns", 1) > 1:
        table["/ColSpan"] = attributes["columns"]
    if table:
        made.A = Dictionary({"/O": Name.Table, **table})


def drawn_plainly(paragraph: Paragraph, canvas: Any, x: float, y: float) -> None:
    """Draw a paragraph without an element of its own: inside another, or inside an artifact."""
    with _untagged(canvas):
        paragraph.drawOn(canvas, x, y)


@contextmanager
def _untagged(canvas: Any) -> Iterator[None]:
    if not isinstance(canvas, TaggedCanvas):
        yield
        return
    # A count and no flag: the end of an inner part must not switch the tags on again.
    canvas.quiet += 1
    try:
        yield
    finally:
        canvas.quiet -= 1
