r"""The text of a logger file in blocks of whole lines, as UTF-8 or another superset of ASCII, with ``\n`` line ends.

Blocks keep memory bounded however long the file is; line numbers are those of the file.
"""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.loggers.sheets import SheetText, sheet_text

#: Longest line of a logger file, and length of the head that is looked at first [bytes].
LONGEST_LINE: Final[int] = 200_000
HEAD: Final[int] = 1 << 18

#: First bytes of files that are no text, and what they are.
_KINDS: Final[tuple[tuple[bytes, str], ...]] = (
    (b"PK\x03\x04", "a workbook or zip archive"),
    (b"%PDF", "a PDF"),
    (b"\xd0\xcf\x11\xe0", "an old workbook or document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"PAR1", "a Parquet file"),
    (b"7z\xbc\xaf", "a compressed file"),
)


@dataclass(frozen=True)
class Head:
    """The beginning of a file.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    size_bytes : int
        Its length.
    encoding : str
        Its encoding: as the byte-order mark says, else as given.
    mark : bool
        Whether a byte-order mark stands at its beginning.
    lines : tuple of str
        Its first lines, at most `HEAD` bytes of them; broken signs replaced.
    whole : bool
        Whether these are all of its lines.
    text : pathlib.Path
        Where the text is: the file itself, or what a sheet of a workbook was written to.
    sheet : gwnet.ingest.loggers.sheets.SheetText or None
        The sheet; its text is there as long as this is.
    """

    path: Path
    size_bytes: int
    encoding: str
    mark: bool
    lines: tuple[str, ...]
    whole: bool
    text: Path
    sheet: SheetText | None = None

    def number_of_marks(self) -> int:
        """Return the length of the byte-order mark in bytes."""
        return (3 if self.encoding == "utf-8" else 2) if self.mark else 0


@dataclass(frozen=True)
class Block:
    """Whole lines of a file.

    Attributes
    ----------
    text : bytes
        The lines, each ended by a line feed, except maybe the last of the file.
    first_line : int
        Number of its first line in the file, from 1.
    last : bool
        Whether it ends the file.
    """

    text: bytes
    first_line: int
    last: bool


def read_head(path: Path, encoding: str = "utf-8", sheet: str = "") -> Head:
    """Return the beginning of a file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    encoding : str, optional
        Encoding where no byte-order mark says it.
    sheet : str, optional
        Sheet of a workbook; its first filled one unless given.

    Raises
    ------
    UnreadableFileError
        If it cannot be read, is empty, or is no text.
    LayoutError
        If the workbook has no such sheet.
    """
    from_sheet = sheet_text(path, sheet)
    text_path = path
    if from_sheet is not None:
        text_path, encoding = from_sheet.path, "utf-8"
    try:
        size = text_path.stat().st_size
        with text_path.open("rb") as file:
            start = file.read(HEAD)
    except FileNotFoundError:
        raise UnreadableFileError("There is no such file.", where=str(path), fix="Check the name.") from None
    except OSError as error:
        message = f"The file cannot be read: {error.strerror or error}."
        fix = "Give a file, not a folder, and check its permissions."
        raise UnreadableFileError(message, where=str(path), fix=fix) from None
    if not start.strip(b"\xef\xbb\xbf \t\r\n\x00"):
        raise UnreadableFileError("The file is empty.", where=str(path), fix="Download it again, or leave it out.")
    encoding, mark = _encoding(start, encoding)
    _refuse_no_text(path, start, encoding)
    text = start.decode("utf-8-sig" if encoding == "utf-8" else encoding, "replace")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    whole = size <= len(start)
    # The last line of a head may be cut anywhere.
    if not whole or not lines[-1]:
        lines.pop()
    if not lines or max(len(line) for line in lines) > LONGEST_LINE:
        _refuse_long(path, 1 + next((n for n, line in enumerate(lines) if len(line) > LONGEST_LINE), 0))
    return Head(path, size, encoding, mark, tuple(lines), whole, text_path, from_sheet)


def _encoding(start: bytes, given: str) -> tuple[str, bool]:
    if start.startswith(codecs.BOM_UTF8):
        return "utf-8", True
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", True
    return given, False


def _refuse_no_text(path: Path, start: bytes, encoding: str) -> None:
    kind = next((name for mark, name in _KINDS if start.startswith(mark)), None)
    if kind is not None:
        message = f"The file is {kind}, not delimited text."
        fix = "Export the readings as delimited text (CSV), or save the sheet as CSV."
        raise UnreadableFileError(message, where=str(path), fix=fix)
    sample = start[: 1 << 14]
    # Tab, line ends and form feed are of text; a few others may be garbled signs of one.
    odd = sum(sample.count(bytes([sign])) for sign in (*range(9), *range(14, 32)))
    if encoding != "utf-16" and odd > len(sample) // 50:
        message = f"The file is not text: {odd} of its first {len(sample):,} bytes are control signs."
        fix = "Export the readings as delimited text (CSV); instruments' own binary files are not read."
        raise UnreadableFileError(message, where=str(path), fix=fix)


def _refuse_long(path: Path, line: int) -> None:
    message = f"Line {line} is longer than {LONGEST_LINE:,} bytes, which no row of readings is."
    fix = "Check that this is an export as delimited text with one row a reading."
    raise UnreadableFileError(message, where=f"{path}, line {line}", fix=fix)


def file_hash(path: Path) -> str:
    """Return the SHA-256 of a file as hexadecimal text."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def blocks(head: Head, size: int) -> Iterator[Block]:
    """Yield the lines of a file in blocks.

    Parameters
    ----------
    head : Head
        Its beginning.
    size : int
        Length that blocks are to have, about [bytes].

    Yields
    ------
    Block
        Whole lines, in order.

    Raises
    ------
    UnreadableFileError
        If a line is too long, or the file cannot be read on.
    """
    line = 1
    kept = b""
    for piece in _pieces(head, size):
        text = kept + piece if kept else piece
        cut = text.rfind(b"\n") + 1
        if not cut:
            if len(text) > LONGEST_LINE:
                _refuse_long(head.path, line)
            kept = text
            continue
        whole, kept = (text, b"") if cut == len(text) else (text[:cut], text[cut:])
        yield Block(whole, line, last=False)
        line += whole.count(b"\n")
        if len(kept) > LONGEST_LINE:
            _refuse_long(head.path, line)
    yield Block(kept, line, last=True)


def _pieces(head: Head, size: int) -> Iterator[bytes]:
    r"""Yield the text of a file in pieces with ``\n`` for every line end, its byte-order mark left out."""
    decoder = codecs.getincrementaldecoder("utf-16")("replace") if head.encoding == "utf-16" else None
    held = b""
    try:
        with head.text.open("rb") as file:
            file.seek(0 if decoder else head.number_of_marks())
            while True:
                piece = file.read(size)
                end = not piece
                if decoder:
                    # All that follows looks for the byte of a line end, which UTF-16 has within other signs.
                    piece = decoder.decode(piece, final=end).encode("utf-8", "replace")
                piece = held + piece if held else piece
                held = b""
                if b"\r" in piece:
                    # Its line feed may be the first byte of the next piece; replaced now, there would be an empty line.
                    if piece.endswith(b"\r") and not end:
                        piece, held = piece[:-1], b"\r"
                    piece = piece.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
                yield piece
                if end:
                    return
    except OSError as error:
        message = f"The file cannot be read on: {error.strerror or error}."
        raise UnreadableFileError(message, where=str(head.path), fix="Copy it anew.") from None
