"""Which levels rest on a tape without a check, or on one that steps against others: whatever rests on them says it.

Their half-width is wider already (`gwnet.analysis.levels.reduce`, `gwnet.analysis.levels.stepped_tapes`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.reduce import TAPES, reduction_of
from gwnet.analysis.levels.stepped_tapes import is_read_with_stepped
from gwnet.store.snapshot import Snapshot

#: No check of the tape was on record by the day of the reading.
UNCHECKED: Final = "no check on record"

#: The tape steps against wells that kept theirs, and nobody has dismissed that.
STEPPED: Final = "step against other tapes"

_WHY: Final = {UNCHECKED: "which had no check on record", STEPPED: "whose levels step against those of other tapes"}


@dataclass(frozen=True, slots=True, order=True)
class TapeDoubt:
    """A tape, and why the levels read with it have the half-width of an unchecked tape.

    Attributes
    ----------
    instrument : str
        Code of the tape.
    why : str
        `UNCHECKED` or `STEPPED`.
    """

    instrument: str
    why: str

    def __str__(self) -> str:
        """Return it in words, to follow "read with"."""
        return f"tape {self.instrument}, {_WHY[self.why]}, so that ± is that of an unchecked tape"


def find_tape_doubts(record: Snapshot) -> Mapping[int, TapeDoubt]:
    """Return the level events that were read with a tape without a check, or with one that steps.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.

    Returns
    -------
    mapping of int to TapeDoubt
        By level event. Made once, so not to be changed in place.
    """
    return record.once("tape doubts", lambda: _find(record))


def _find(record: Snapshot) -> dict[int, TapeDoubt]:
    # the checks look at levels, so that they are known only when levels are
    from gwnet.analysis.checks.open_findings import stepped_tapes

    inputs, reduced = reduction_of(record)
    instruments = inputs.instruments
    tapes = instruments[instruments["kind"].isin(TAPES)].set_index("instrument_id")["instrument"]
    by_tape = inputs.records["instrument_id"].isin(tapes.index).to_numpy(dtype=bool) & (reduced.repeats.count > 0)
    stepped = is_read_with_stepped(inputs, stepped_tapes(record))
    why = np.select([~reduced.tape.checked, stepped], [UNCHECKED, STEPPED], "")
    rows = inputs.records[["event_id", "instrument_id"]].assign(why=why)[by_tape & (why != "")]
    return {
        int(event): TapeDoubt(str(tapes[int(tape)]), str(words))
        for event, tape, words in zip(rows["event_id"], rows["instrument_id"], rows["why"], strict=True)
    }


def describe_tape_doubts(doubts: Mapping[int, TapeDoubt], wells: pd.Series) -> tuple[str, ...]:
    """Return which wells have a result that rests on readings with tapes in doubt, in words.

    Parameters
    ----------
    doubts : mapping of int to TapeDoubt
        As `find_tape_doubts`.
    wells : pandas.Series
        Well of each level event that the result rests on, by event_id.

    Returns
    -------
    tuple of str
        A sentence for each tape and reason; empty where no tape is in doubt.
    """
    named: dict[TapeDoubt, set[str]] = {}
    for event, well in wells.items():
        if (doubt := doubts.get(int(event))) is not None:
            named.setdefault(doubt, set()).add(str(well))
    return tuple(f"{', '.join(sorted(wells))}: read with {doubt}." for doubt, wells in sorted(named.items()))
