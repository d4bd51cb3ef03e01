"""Rows of a logger file read a block at once, where all of them are plain samples."""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.ingest.loggers.careful import Careful, Oddities, Rows, count_of, numeric_words, odd_kinds
from gwnet.ingest.loggers.plan import Plan, split_line
from gwnet.ingest.loggers.stamps import Stamps, read_column

Flags = NDArray[np.bool_]

#: Parts of a block that are read row by row where they hold a row that is no plain sample [lines].
SMALLEST: Final[int] = 1_024


class BlockReader:
    """Reads blocks of lines; what cannot be read at once is halved until the odd rows stand in small parts.

    Parameters
    ----------
    plan : gwnet.ingest.loggers.plan.Plan
        How the file is read.
    odd : gwnet.ingest.loggers.careful.Oddities
        Where odd rows are noted.
    encoding : str
        Encoding of the blocks.
    """

    def __init__(self, plan: Plan, odd: Oddities, encoding: str) -> None:
        self.plan = plan
        self.odd = odd
        self.encoding = encoding
        self.careful = Careful(plan, odd)
        patterns = [p for p in (plan.layout.event_rows, plan.layout.footer_pattern) if p]
        if plan.layout.comment:
            patterns.append(rf"^\s*{re.escape(plan.layout.comment)}")
        self._special = [re.compile(pattern, re.MULTILINE) for pattern in patterns]
        needed = [*plan.times, *plan.places, *plan.events, *([plan.select[0]] if plan.select else [])]
        needed += [] if plan.counter is None else [plan.counter]
        self._needed = sorted(set(needed))
        self._plain_numbers = not plan.layout.thousands

    def remember(self, text: bytes) -> None:
        """Keep the last lines of a block that was read, by which a row that was cut off is known."""
        if text:
            # the first piece may begin in the middle of a line, the last is empty
            self.careful.before = text[-8192:].decode(self.encoding, "replace").split("\n")[1:-1]

    def read(self, text: bytes, first_line: int, *, last: bool) -> list[Rows]:
        """Read a block.

        Parameters
        ----------
        text : bytes
            Whole lines.
        first_line : int
            Line of the first of them in the file.
        last : bool
            Whether the block ends the file.

        Returns
        -------
        list of gwnet.ingest.loggers.careful.Rows
            Its samples, in parts, in order.
        """
        if not text:
            return []
        # a last line without its end may be half a row, which only a look at it shows
        cut = last and not text.endswith(b"\n")
        count = text.count(b"\n") + cut
        # the whole block first: most blocks hold nothing but samples
        if not cut and self._may_be_plain(text):
            rows = self._at_once(text, first_line, count)
            if rows is not None:
                return [rows]
        if count <= SMALLEST:
            lines = text.decode(self.encoding, "replace").split("\n")
            if not cut:
                lines.pop()
            return [self.careful.read(lines, range(first_line, first_line + len(lines)), last=cut)]
        # halved, so that one odd row costs a small part its speed and not the block
        middle = text.find(b"\n", len(text) // 2) + 1
        if not 0 < middle < len(text):
            middle = text.find(b"\n") + 1
        before = text[:middle]
        done = self.read(before, first_line, last=False)
        return done + self.read(text[middle:], first_line + before.count(b"\n"), last=last)

    def _may_be_plain(self, text: bytes) -> bool:
        """Return whether nothing in the text asks for a look at each row."""
        # marks of thousands are more than the parser of columns can read
        if not self._plain_numbers or self.careful.ended or b"\x00" in text:
            return False
        if self._special and any(p.search(text.decode(self.encoding, "replace")) for p in self._special):
            return False
        if b'"' in text:
            # an odd number of quotes before a line end: a quoted cell runs over it
            signs = np.frombuffer(text, dtype=np.uint8)
            ends = np.flatnonzero(signs == 10)
            quotes = np.searchsorted(np.flatnonzero(signs == 34), ends)
            return bool((np.diff(quotes, prepend=0) % 2 == 0).all())
        return True

    def _at_once(self, text: bytes, first_line: int, count: int) -> Rows | None:
        """Return the samples of a block, None where it holds a row that is no plain one."""
        # the first line stands for all; a line of another width makes the parser give up
        end = text.find(b"\n")
        width = len(split_line(text[:end].decode(self.encoding, "replace"), self.plan.layout.delimiter))
        if width < self.plan.width or (self.plan.heading_line and width > len(self.plan.names)):
            return None
        table = self._parsed(text, width)
        if table is None or table.num_rows != count:
            return None
        stamps = self._stamps(table)
        values = self._values(table) if stamps is not None else None
        if stamps is None or values is None:
            return None
        rows = np.arange(first_line, first_line + count, dtype=np.int64)
        counter = self._counts(table)
        kinds = self._note(values, self._noted(table), self._selected(table))
        if kinds is None:
            return Rows(stamps.time_ms, stamps.offset_minutes, values, rows, counter)
        kept = self._tell(kinds, text, first_line)
        offset = None if stamps.offset_minutes is None else stamps.offset_minutes[kept]
        counter = None if counter is None else counter[kept]
        return Rows(stamps.time_ms[kept], offset, [value[kept] for value in values], rows[kept], counter)

    def _counts(self, table: Any) -> NDArray[np.float64] | None:
        """Return the numbers of the column that counts, NaN for other cells; None where the plan has none."""
        import pyarrow as pa

        place = self.plan.counter
        if place is None:
            return None
        if f"c{place}" not in table.column_names:
            return np.full(table.num_rows, np.nan)
        cells = self._column(table, place)
        try:
            numbers = cells if pa.types.is_floating(cells.type) else cells.cast(pa.string()).cast(pa.float64())
        except pa.ArrowInvalid:
            return np.array([count_of((cell or b"").decode("utf-8", "replace")) for cell in cells.to_pylist()])
        return np.asarray(numbers.to_numpy(zero_copy_only=False), dtype=np.float64)

    def _parsed(self, text: bytes, width: int) -> Any:
        import pyarrow as pa
        from pyarrow import csv

        plan = self.plan
        # cells that nobody asked for are not converted
        places = [place for place in self._needed if place < width]
        # times stay as bytes: their formats are ours to read
        types = {f"c{place}": pa.float64() if place in plan.places else pa.binary() for place in places}
        words = sorted(frozenset.union(*plan.missing))
        try:
            return csv.read_csv(
                pa.BufferReader(text),
                read_options=csv.ReadOptions(
                    column_names=[f"c{n}" for n in range(width)], block_size=max(len(text), 1 << 16), use_threads=True
                ),
                parse_options=csv.ParseOptions(delimiter=plan.layout.delimiter, ignore_empty_lines=False),
                convert_options=csv.ConvertOptions(
                    check_utf8=False,
                    column_types=types,
                    include_columns=list(types),
                    null_values=words,
                    quoted_strings_can_be_null=True,
                    decimal_point=plan.layout.decimal,
                ),
            )
        except (pa.ArrowInvalid, pa.ArrowKeyError):
            return None

    def _column(self, table: Any, place: int) -> Any:
        import pyarrow as pa

        chunks = table.column(f"c{place}")
        return chunks.chunk(0) if chunks.num_chunks == 1 else pa.concat_arrays(chunks.chunks)

    def _stamps(self, table: Any) -> Stamps | None:
        plan = self.plan
        stamps = None
        for place, formats in zip(plan.times, plan.formats, strict=True):
            part = read_column(self._column(table, place), formats)
            if part is None:
                return None
            if stamps is None:
                stamps = part
            else:
                offset = part.offset_minutes if part.offset_minutes is not None else stamps.offset_minutes
                stamps = Stamps(stamps.time_ms + part.time_ms, offset)
        if stamps is not None and stamps.offset_minutes is None and not plan.zone:
            return None
        return stamps

    def _values(self, table: Any) -> list[NDArray[np.float64]] | None:
        columns = []
        limits_of = [column.limits for column in self.plan.columns]
        for place, words, limits in zip(self.plan.places, self.plan.missing, limits_of, strict=True):
            column = self._column(table, place)
            value = column.to_numpy(zero_copy_only=False)
            finite = np.isfinite(value)
            # the parser takes "inf" and "nan" for numbers, which no instrument reads
            if np.count_nonzero(finite) != len(value) - column.null_count:
                return None
            # -9999 may also be written -9999.0, which is no word of the list
            for number in numeric_words(words):
                if (value == number).any():
                    value = np.where(value == number, np.nan, value)
            lowest, highest = limits
            if (value < lowest).any() or (value > highest).any():
                return None  # row by row, each such value is refused with its place
            columns.append(value)
        return columns

    def _selected(self, table: Any) -> Flags | None:
        """Return which rows are of the well or instrument that was asked for; None for all."""
        if self.plan.select is None:
            return None
        place, wanted = self.plan.select
        return _matching(self._column(table, place), rf"^\s*{re.escape(wanted)}\s*$")

    def _noted(self, table: Any) -> Flags | None:
        """Return which rows have something in an event column; None for none of them."""
        noted: Flags | None = None
        for place in self.plan.events:
            if f"c{place}" not in table.column_names:
                continue
            # a lone dash is how many exports write nothing
            filled = ~_matching(self._column(table, place), r"^\s*-?\s*$")
            if filled.any():
                noted = filled if noted is None else noted | filled
        return noted

    def _note(self, values: list[NDArray[np.float64]], noted: Flags | None, chosen: Flags | None) -> _Kinds | None:
        """Return which rows are odd and how; None where all are plain samples."""
        empty = [np.isnan(value) for value in values]
        some = np.logical_or.reduce(empty)
        # by far the most blocks, for which nothing more need be worked out
        if not some.any() and noted is None and (chosen is None or chosen.all()):
            return None
        own = np.ones(some.shape, dtype=bool) if chosen is None else chosen
        is_noted = np.zeros(some.shape, dtype=bool) if noted is None else noted
        kinds = odd_kinds(some, np.logical_and.reduce(empty), is_noted)
        return {"other": ~own, **{kind: own & flags for kind, flags in kinds.items()}}

    def _tell(self, kinds: _Kinds, text: bytes, first_line: int) -> Flags:
        """Note odd rows, the first of each kind with their text; return which rows are samples."""
        samples = ~(kinds["other"] | kinds["event"])
        shown = np.zeros(samples.shape, dtype=bool)
        for kind, flags in kinds.items():
            # only rows whose text is kept are read again, for their text and reason
            shown[np.flatnonzero(flags)[: self.odd.room(kind)]] = True
        for kind, flags in kinds.items():
            self.odd.counts[kind] += int(np.count_nonzero(flags & ~shown))
        places = np.flatnonzero(shown)
        self.careful.read(_lines(text, places, self.encoding), (places + first_line).tolist())
        return samples


_Kinds = dict[str, Flags]


def _matching(cells: Any, pattern: str) -> Flags:
    """Return which cells match a pattern; a cell that is not there does not."""
    import pyarrow.compute as pc

    matches = pc.match_substring_regex(cells, pattern.encode("utf-8"))
    return np.asarray(pc.fill_null(matches, fill_value=False).to_numpy(zero_copy_only=False), dtype=bool)


def _lines(text: bytes, places: NDArray[np.int64], encoding: str) -> list[str]:
    """Return some lines of a text by their places."""
    if not places.size:
        return []
    ends = np.flatnonzero(np.frombuffer(text, dtype=np.uint8) == 10)
    starts = np.concatenate(([0], ends[:-1] + 1))
    return [text[starts[n] : ends[n]].decode(encoding, "replace") for n in places.tolist()]
