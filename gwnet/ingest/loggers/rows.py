"""Logger files: opened with a layout, then read in chunks of samples in UTC.

A block of whole lines is read at once (pyarrow for cells, own arithmetic for times that are written alike); where that
fails it is halved until the odd rows are in small parts, and these are read row by row. A test holds both ways to the
same content, so speed decides nothing about it; row numbers are lines of the file. Hours that occurred twice are
resolved by their order, by the interval or a column that counts where these show more, and else as the layout says:
what is left open refuses the file, so that no row is lost.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import FileRejectedError, IngestError
from gwnet.ingest.loggers.careful import NO_OFFSET, Oddities, OddRow, Rows, joined
from gwnet.ingest.loggers.columns import Column
from gwnet.ingest.loggers.fast import BlockReader
from gwnet.ingest.loggers.layout import Layout
from gwnet.ingest.loggers.plan import Plan, fit
from gwnet.ingest.loggers.text import Block, blocks, file_hash, read_head
from gwnet.ingest.loggers.zone import ToUtc
from gwnet.records import Rejection

__all__ = ["Chunk", "Column", "LoggerFile", "OddRow", "open_logger_file"]

#: Bad rows after which reading stops: the layout does not fit.
MOST_BAD: Final[int] = 1_000

#: Rows of a block, about: what is in memory at once, whatever the size of chunks, so that it decides nothing.
_BLOCK_ROWS: Final[int] = 32_768

#: Rows that may wait at a change of the clocks for those after them.
_MOST_WAITING: Final[int] = 1_000_000

#: Blanks between columns that are lined up by them.
_ONE_BLANK: Final = re.compile(rb" {2,}")
_AROUND_LINES: Final = re.compile(rb"(?m)^ +| +(?=\r?$)")

#: What to do about a time that was twice.
_FIX_TWICE: Final = (
    "Say it with --repeated-hour first or second, or repeated_hour under [time] of the layout; an instrument that "
    "keeps one offset all year needs that as its zone: --zone UTC+01:00, for example."
)


@dataclass(frozen=True)
class Chunk:
    """Samples of a part of a file, in its order.

    Attributes
    ----------
    time_ms : numpy.ndarray of int64, shape (n,)
        Times in UTC [ms since 1970-01-01].
    values : tuple of numpy.ndarray of float64, shape (n,)
        One array a column of values, in its unit; NaN for no value.
    row : numpy.ndarray of int64, shape (n,)
        Lines in the file, from 1.
    """

    time_ms: NDArray[np.int64]
    values: tuple[NDArray[np.float64], ...]
    row: NDArray[np.int64]


class LoggerFile:
    """A file that was opened with a layout and not yet read through.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    plan : gwnet.ingest.loggers.plan.Plan
        How it is read.
    encoding : str
        Its encoding.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    name : str
        Its name.
    sha256 : str
        Hash of its bytes.
    size_bytes : int
        Its length.
    plan : gwnet.ingest.loggers.plan.Plan
        How it is read.
    remarks : list of str
        What was decided about the file as a whole.
    """

    def __init__(self, path: Path, plan: Plan, encoding: str) -> None:
        self.path = path
        self.name = path.name
        self.plan = plan
        self.size_bytes = path.stat().st_size
        # Of the bytes as they came, whatever encoding they are read in.
        self.sha256 = file_hash(path)
        self.remarks: list[str] = []
        self._encoding = encoding
        self._odd = Oddities()
        self._clock: ToUtc | None = None

    @property
    def layout(self) -> Layout:
        """Return the layout."""
        return self.plan.layout

    @property
    def columns(self) -> tuple[Column, ...]:
        """Return the columns of values, in the order of `Chunk.values`."""
        return self.plan.columns

    @property
    def zone(self) -> str:
        """Return the zone of the times; ``in each stamp`` where each says its own offset."""
        return self.plan.zone or "in each stamp"

    @property
    def serial(self) -> str | None:
        """Return the serial number that the file gives."""
        return self.plan.serial

    @property
    def title(self) -> str | None:
        """Return the title that the file gives."""
        return self.plan.title

    def odd(self) -> Sequence[OddRow]:
        """Return the odd rows in their order, the first thousand of each kind; complete once all chunks were read."""
        return sorted(self._odd.kept, key=lambda odd: odd.row)

    def odd_counts(self) -> dict[str, int]:
        """Return how many odd rows there were of each kind; complete once all chunks were read."""
        return {kind: count for kind, count in self._odd.counts.items() if count}

    def notes(self) -> list[str]:
        """Return what was decided without being asked; complete once all chunks were read."""
        notes = [*self.plan.notes, *self.remarks]
        clock = self._clock
        if clock is not None and clock.repeated:
            rows = "1 row stands" if clock.repeated == 1 else f"{clock.repeated} rows stand"
            chosen = f", {clock.chosen} as of the {self.layout.repeated_hour} hour, as was said" if clock.chosen else ""
            notes.append(f"{rows} in an hour that was twice in {clock.zone}, taken in the order of the file{chosen}")
        for settled in clock.settled if clock is not None else ():
            counter = self.plan.names[self.plan.counter] if self.plan.counter is not None else ""
            by = f"column {counter!r}" if settled.by_counter else "the steady interval of its rows"
            after = _clock_text(settled.local_ms)
            notes.append(f"the clock of the instrument was changed after {after}, as {by} shows; no row was lost by it")
        if self._odd.counts["cut"]:
            notes.append(
                "the last row has no line end and its last value may have been cut; it was passed over: "
                "the next download adds it, or end the line if it is complete"
            )
        return notes

    def chunks(self, rows: int = 65_536) -> Iterator[Chunk]:
        """Yield the samples in the order of the file; odd rows are gathered on the way.

        Parameters
        ----------
        rows : int, optional
            Most rows of a chunk.

        Yields
        ------
        Chunk
            Samples in UTC. Rows that cannot be read are left out and told by `odd`; `require_good` refuses them.

        Raises
        ------
        gwnet.errors.IngestError
            If a line is too long to be one, or so many rows are bad that the layout does not fit.
        """
        # A file can be read through again; its oddities are then counted anew.
        self._odd = Oddities()
        self._clock = ToUtc(self.plan.zone, self.layout.repeated_hour) if self.plan.zone else None
        head = read_head(self.path, self._encoding, self.layout.sheet)
        reader = BlockReader(self.plan, self._odd, "utf-8" if head.encoding == "utf-16" else head.encoding)
        # Blocks are in bytes, what is bounded is rows: wide files have longer lines.
        usual = max(20, sum(len(line) + 1 for line in head.lines) // max(len(head.lines), 1))
        held: list[Rows] = []
        for block in blocks(head, min(_BLOCK_ROWS * usual, 1 << 23)):
            block = self._table(block)
            held += reader.read(block.text, block.first_line, last=block.last)
            part = joined(held)
            if part is not None and (block.last or not self._waits_after(part)):
                yield from self._cut(self._in_utc(part), max(rows, 1))
                held = []
            reader.remember(block.text)
            # A wrong layout makes every row bad; a file of millions need not be read to its end for that.
            if self._odd.counts["bad"] >= MOST_BAD:
                self._refuse("at least ")

    def require_good(self) -> None:
        """Refuse the file if one of its rows could not be read; call it after all chunks were read.

        Raises
        ------
        gwnet.errors.FileRejectedError
            If there were bad rows; it tells the first of them.
        """
        if self._odd.counts["bad"]:
            self._refuse("")

    def _refuse(self, at_least: str) -> None:
        bad = [odd for odd in self.odd() if odd.kind == "bad"]
        count = self._odd.counts["bad"]
        rejections = [
            Rejection("logger file", self.name, odd.row, None, odd.text, "time-exists-twice", odd.why, _FIX_TWICE)
            if _is_twice(odd)
            else Rejection("logger file", self.name, odd.row, None, odd.text, "row-unreadable", odd.why, "Fix the row.")
            for odd in bad
        ]
        rows = "row" if count == 1 else "rows"
        reasons = "; ".join(f"row {odd.row}: {odd.why}" for odd in bad[:3])
        message = f"{at_least}{count:,} {rows} cannot be read under the layout {self.layout.name!r}: {reasons}."
        fix = (
            "Words for no value go under missing, lines without readings under [events] rows or [table] footer_pattern "
            "of the layout; else correct the rows in a copy. Nothing was taken from the file."
        )
        if any("in the middle of this row" in odd.why for odd in bad):
            fix = "Download the file again: it was cut off. Nothing was taken from it."
        if all(_is_twice(odd) for odd in bad):
            fix = f"{_FIX_TWICE} Nothing was taken from the file, and no row is lost."
        raise FileRejectedError(message[0].upper() + message[1:], rejections[:MOST_BAD], where=self.name, fix=fix)

    def _table(self, block: Block) -> Block:
        """Return a block without the lines above the table."""
        above = self.plan.first_line - block.first_line
        text, passed = block.text, 0
        while passed < above and text:
            text = text[text.find(b"\n") + 1 :] if b"\n" in text else b""
            passed += 1
        if self.layout.delimiter == " ":
            text = _ONE_BLANK.sub(b" ", _AROUND_LINES.sub(b"", text))
        return Block(text, block.first_line + passed, block.last)

    def _waits_after(self, part: Rows) -> bool:
        """Return whether rows near a change of the clocks wait for those after them, which may show when it was."""
        if self._clock is None or part.row.size > _MOST_WAITING:
            return False
        return self._clock.waits_after(part.time_ms)

    def _in_utc(self, part: Rows) -> Chunk:
        given = part.offset_minutes
        if given is not None and not (given == NO_OFFSET).any():
            return Chunk(part.time_ms - given * 60_000, tuple(part.values), part.row)
        if self._clock is None:
            raise IngestError("A time without an offset was met.", where=self.name, fix="Give the zone in the layout.")
        clock = self._clock.convert(part.time_ms, part.counter)
        # Rows with and without an offset may stand in one file, as after a change of settings.
        own = np.zeros(part.row.shape, dtype=bool) if given is None else given != NO_OFFSET
        utc = clock.utc if given is None else np.where(own, part.time_ms - given * 60_000, clock.utc)
        zone = self._clock.zone
        good = np.ones(part.row.shape, dtype=bool)
        for wrong, kind, why in (
            (clock.skipped, "bad", f"never was in {zone}: the clocks had been put forward over it"),
            (
                clock.unordered,
                "bad",
                f"was twice in {zone}, and the rows around do not rise, so nothing tells which",
            ),
            (clock.unclear, "bad", f"was twice in {zone}, and nothing tells which of the two it is"),
        ):
            lost = wrong & ~own & good
            good &= ~lost
            for place in np.flatnonzero(lost).tolist():
                local = _clock_text(part.time_ms[place])
                self._odd.add(int(part.row[place]), local, kind, f"the time {local} {why}")
        if good.all():
            return Chunk(utc, tuple(part.values), part.row)
        return Chunk(utc[good], tuple(value[good] for value in part.values), part.row[good])

    def _cut(self, chunk: Chunk, rows: int) -> Iterator[Chunk]:
        for start in range(0, chunk.row.size, rows):
            part = slice(start, start + rows)
            yield Chunk(chunk.time_ms[part], tuple(value[part] for value in chunk.values), chunk.row[part])


def _is_twice(odd: OddRow) -> bool:
    """Return whether a row is of an hour that was twice, and nothing shows of which."""
    return "nothing tells which of the two" in odd.why


def _clock_text(local_ms: int | np.int64) -> str:
    return str(np.int64(local_ms).astype("datetime64[ms]").astype("datetime64[s]")).replace("T", " ")


def open_logger_file(
    path: str | Path, layout: Layout, *, zone: str = "", only: str = "", quantity: str = ""
) -> LoggerFile:
    """Open a logger file.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    layout : gwnet.ingest.loggers.layout.Layout
        How it is written.
    zone : str, optional
        Zone to take where neither the layout nor the file says one.
    only : str, optional
        Which well or instrument to read, where the layout has a column that says it.
    quantity : str, optional
        Read this quantity alone; where a single column has such a unit, it is taken to be this.

    Returns
    -------
    LoggerFile
        The file, its columns, zone and serial number known, its rows not yet read.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If the file cannot be read, is empty or no text.
    gwnet.errors.LayoutError
        If the layout does not fit it.
    """
    path = Path(path)
    head = read_head(path, layout.encoding, layout.sheet)
    plan = fit(layout, head, zone=zone, only=only, quantity=quantity)
    return LoggerFile(path, plan, layout.encoding)
