"""The parts of a workbook: an archive of XML files, read as streams and with limits.

Every part is parsed here by the same parser, which refuses definitions of entities in any encoding.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final, NoReturn
from xml.parsers import expat

from gwnet.errors import UnreadableFileError

#: Limits against archives made to be huge.
LARGEST_UNPACKED: Final[int] = 1 << 29
LARGEST_RATIO: Final[int] = 300
MOST_MEMBERS: Final[int] = 5_000

_PIECE: Final[int] = 1 << 16
_SAVE_AGAIN: Final[str] = "Open it and save it again as .xlsx, or save its sheets as CSV."
_ESCAPED: Final = re.compile(r"_x([0-9A-Fa-f]{4})_")

#: Attributes of an element; what is done at its start, at its end, and with text.
Attributes = Mapping[str, str]


@dataclass(frozen=True)
class Handlers:
    """What is done with the elements of a part; names come without their prefix.

    Attributes
    ----------
    start : callable
        Called with name and attributes.
    end : callable
        Called with the name.
    text : callable
        Called with pieces of text.
    """

    start: Callable[[str, Attributes], None]
    end: Callable[[str], None] = lambda _: None
    text: Callable[[str], None] = lambda _: None


@dataclass(frozen=True)
class SheetPart:
    """A sheet that a workbook lists.

    Attributes
    ----------
    title : str
        Its name.
    visible : bool
        Whether it is shown.
    part : str
        Its part; empty for a sheet that is no table, such as a chart.
    """

    title: str
    visible: bool
    part: str


class Package:
    """An open workbook.

    Parameters
    ----------
    name : str
        Name of the file, for errors.
    content : bytes
        Its bytes.

    Attributes
    ----------
    sheets : list of SheetPart
        Its sheets, in order.
    counts_from_1904 : bool
        Whether its dates are counted from 1904 instead of 1900.

    Raises
    ------
    UnreadableFileError
        If it is no workbook, is damaged, lacks a part that it names, or unpacks to more than a table could be.
    """

    def __init__(self, name: str, content: bytes) -> None:
        self.name = name
        with self._refusing():
            self._archive = zipfile.ZipFile(io.BytesIO(content))
            self._refuse_huge(len(content))
            # Names of parts that differ in capitals are the same (ECMA-376-2).
            self._members = {info.filename.lower(): info.filename for info in self._archive.infolist()}
            book = next((target for kind, target in self._targets_of("").values() if kind == "officeDocument"), "")
            if not book or book.lower() not in self._members:
                self.refuse("The file is an archive, and no workbook is in it.")
            self._targets = self._targets_of(book)
            self.counts_from_1904 = False
            self.sheets: list[SheetPart] = []
            self.parse(book, Handlers(self._in_book))

    def refuse(self, message: str, fix: str = _SAVE_AGAIN) -> NoReturn:
        """Refuse the workbook."""
        raise UnreadableFileError(message, where=self.name, fix=fix)

    def part_of(self, kind: str) -> str:
        """Return the part of a kind, such as ``styles``; empty where the workbook names none."""
        return next((target for found, target in self._targets.values() if found == kind), "")

    def parse(self, part: str, handlers: Handlers) -> None:
        """Parse a part as a whole."""
        for _ in self.stream(part, handlers):
            pass

    def stream(self, part: str, handlers: Handlers) -> Iterator[None]:
        """Parse a part piece by piece; control comes back after each.

        Parameters
        ----------
        part : str
            Its name.
        handlers : Handlers
            What is done with its elements.

        Yields
        ------
        None
            After each piece.
        """
        locals_of: dict[str, str] = {}

        def local(name: str) -> str:
            plain = locals_of.get(name)
            if plain is None:
                plain = locals_of[name] = name.rpartition(":")[2]
            return plain

        # Piece by piece: a sheet of a million rows as a tree takes gigabytes.
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = lambda name, attributes: handlers.start(local(name), attributes)
        parser.EndElementHandler = lambda name: handlers.end(local(name))
        parser.CharacterDataHandler = handlers.text
        parser.StartDoctypeDeclHandler = lambda *_: self.refuse(
            f"Part {part!r} of the workbook defines entities or a document type, which no table needs.",
            "Save it again with a spreadsheet program.",
        )
        with self._refusing(part), self._archive.open(self._members[part.lower()]) as file:
            while piece := file.read(_PIECE):
                parser.Parse(piece, False)
                yield
            parser.Parse(b"", True)
            yield

    def _refuse_huge(self, size: int) -> None:
        members = self._archive.infolist()
        unpacked = sum(member.file_size for member in members)
        # By the sizes that the archive states, before anything is unpacked.
        if len(members) > MOST_MEMBERS or unpacked > LARGEST_UNPACKED or unpacked > LARGEST_RATIO * size:
            message = f"The workbook unpacks to {unpacked / 1e6:,.0f} MB in {len(members)} parts, which is too much."
            self.refuse(message, "Save its tables as CSV.")
        names = [member.filename.lower() for member in members]
        # Programs differ in which of the two they show.
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            self.refuse(f"The workbook holds its part {twice!r} twice.")

    def _targets_of(self, part: str) -> dict[str, tuple[str, str]]:
        """Return kind and part of each relation of a part, by its id; refuse those that the archive lacks."""
        folder, _, file = part.rpartition("/")
        relations = posixpath.join(folder, "_rels", f"{file}.rels")
        if relations.lower() not in self._members:
            self.refuse(f"The workbook lacks its part {relations!r}.")
        found: dict[str, tuple[str, str]] = {}

        def start(name: str, attributes: Attributes) -> None:
            # What lies outside the file is never fetched.
            if name == "Relationship" and attributes.get("TargetMode") != "External":
                target = attributes.get("Target", "")
                whole = target[1:] if target.startswith("/") else posixpath.normpath(posixpath.join(folder, target))
                found[attributes.get("Id", "")] = (attributes.get("Type", "").rpartition("/")[2], whole)

        self.parse(relations, Handlers(start))
        for kind, target in found.values():
            if target.lower() not in self._members:
                message = f"The workbook names its part {target!r} ({kind}), and the file lacks it: it is not whole."
                self.refuse(message, "Copy or download it again, or save it again with a spreadsheet program.")
        return found

    def _in_book(self, name: str, attributes: Attributes) -> None:
        if name == "workbookPr":
            self.counts_from_1904 = attributes.get("date1904", "0") in {"1", "true"}
        elif name == "sheet":
            title = attributes.get("name", "")
            relation = next((value for key, value in attributes.items() if key.endswith(":id")), "")
            # The prefix of the namespace is the writer's choice.
            if relation not in self._targets:
                self.refuse(f"The workbook lists its sheet {title!r}, and does not say where it is.")
            kind, part = self._targets[relation]
            self.sheets.append(
                SheetPart(title, attributes.get("state", "visible") == "visible", part if kind == "worksheet" else "")
            )

    @contextmanager
    def _refusing(self, part: str = "") -> Iterator[None]:
        """Turn what goes wrong with a damaged archive or part into a sentence."""
        try:
            yield
        except (expat.ExpatError, ValueError, LookupError) as error:  # the last two: an encoding that is not known
            self.refuse(f"Part {part!r} of the workbook is damaged ({error}).")
        except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, zlib.error) as error:
            if part:
                self.refuse(f"Part {part!r} of the workbook is damaged ({error}).")
            message = f"The file is not a workbook, though its name says so, or it is damaged ({error})."
            self.refuse(message, "Save it again as .xlsx.")
        # The archive raises it where a password is wanted.
        except RuntimeError as error:
            self.refuse(f"The workbook cannot be read ({error}).", "Save it without a password.")


def plain_text(text: str) -> str:
    r"""Return text with its escaped signs, such as ``_x000D_``, as themselves.

    Parameters
    ----------
    text : str
        Text of a part; see ECMA-376-1:2016, 22.9.2.19.

    Returns
    -------
    str
        The text.
    """
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


def shared_texts(package: Package) -> list[str]:
    """Return the texts that the cells of a workbook refer to by number.

    Parameters
    ----------
    package : Package
        The workbook.

    Returns
    -------
    list of str
        The texts in order; how they are pronounced is left out.
    """
    gathered = _Texts()
    part = package.part_of("sharedStrings")
    if part:
        package.parse(part, Handlers(gathered.start, gathered.end, gathered.text))
    return gathered.texts


class _Texts:
    """Gathers texts, which may stand in pieces, and leaves out how they are pronounced."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self._pieces: list[str] = []
        self._taking = self._spoken = False

    def start(self, name: str, _: Attributes) -> None:
        if name == "si":
            self._pieces.clear()
        elif name == "rPh":
            self._spoken = True
        elif name == "t":
            self._taking = not self._spoken

    def end(self, name: str) -> None:
        if name == "si":
            self.texts.append(plain_text("".join(self._pieces)))
        elif name == "rPh":
            self._spoken = False
        elif name == "t":
            self._taking = False

    def text(self, piece: str) -> None:
        if self._taking:
            self._pieces.append(piece)


def date_styles(package: Package) -> tuple[frozenset[int], frozenset[int]]:
    """Return which styles of cells show their number as a date or time, and which of them as a duration.

    Parameters
    ----------
    package : Package
        The workbook.

    Returns
    -------
    tuple of frozenset of int
        Numbers of styles.
    """
    from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format, is_timedelta_format

    part = package.part_of("styles")
    if not part:
        return frozenset(), frozenset()
    formats: dict[int, str] = dict(BUILTIN_FORMATS)
    styles: list[int] = []
    inside: list[str] = []

    def start(name: str, attributes: Attributes) -> None:
        if name in {"cellXfs", "numFmts"}:
            inside.append(name)
        elif name == "numFmt" and inside == ["numFmts"]:
            formats[_whole(package, attributes.get("numFmtId", ""))] = attributes.get("formatCode", "")
        elif name == "xf" and inside == ["cellXfs"]:
            styles.append(_whole(package, attributes.get("numFmtId", "0")))

    def end(name: str) -> None:
        if inside and name == inside[-1]:
            inside.pop()

    package.parse(part, Handlers(start, end))
    codes = [formats.get(number, "General") for number in styles]
    dates = frozenset(place for place, code in enumerate(codes) if is_date_format(code))
    return dates, frozenset(place for place in dates if is_timedelta_format(codes[place]))


def _whole(package: Package, text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text):
        package.refuse(f"The workbook has {text[:40]!r} where it needs the number of a format.")
    return int(text)
