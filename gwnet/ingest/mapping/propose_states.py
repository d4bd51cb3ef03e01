"""Proposes status, quality and notes of level events from the words and codes of a source."""

from __future__ import annotations

from collections import Counter
from typing import Any, Final

import numpy as np

from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.mapping.draft import DraftTable
from gwnet.ingest.mapping.look import Looked, LookedColumn
from gwnet.ingest.mapping.source_table import MISSING
from gwnet.ingest.mapping.status_words import quality_of, status_of
from gwnet.ingest.mapping.survey import numbers
from gwnet.store.contract import NUMBER_ALLOWED, STATUSES

#: Most distinct words of a column that are listed with their targets.
_MOST_WORDS: Final = 60

#: Most distinct remarks among which words for a status are looked for.
_MOST_NOTES: Final = 40

#: Quantities of columns of levels, in whose cells words may stand instead of numbers.
_LEVELS: Final = frozenset(
    {"tape at mark", "depth to water", "depth below ground", "water elevation", "level", "depth"}
)


def propose_states(one: Looked, events: DraftTable, notes: Notes) -> None:
    """Propose status, quality and notes of level events.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        The table.
    events : gwnet.ingest.mapping.draft.DraftTable
        Level events with the rules of their numbers; rules are added.
    """
    notes_of_words = [c for c in one.having("notes") if 0 < len(_words(one, c)) <= _MOST_NOTES]
    statuses: list[tuple[LookedColumn, dict[str, str]]] = []
    qualities: list[tuple[LookedColumn, dict[str, str]]] = []
    noted: list[str] = []
    numbered = _has_number(one, events)
    for column in [*one.having("status", "quality"), *notes_of_words]:
        words = _words(one, column)
        # Codes of one or two letters say nothing to a reader of the notes.
        if any(len(word) > 2 for word in words):
            noted.append(column.heading)
        if not words or len(words) > _MOST_WORDS:
            continue
        # What a word means depends on whether there is a number beside it: "pumping" with one is a level under pumping.
        with_number = {word: share > 0.5 for word, share in _share_with_number(one, column, numbered).items()}
        states = {word: _state(word, with_number=with_number[word]) for word in words}
        said = {word: _quality(word, states[word], with_number=with_number[word]) for word in words}
        codes = all(len(word) <= 2 for word in words)
        if column.meaning.quantity == "notes" or (column.meaning.quantity == "quality" and not any(states.values())):
            states = {word: state for word, state in states.items() if state}
        if states and (any(states.values()) or (codes and column.meaning.quantity == "status")):
            statuses.append((column, states))
        # Of free remarks at least half must be words for quality, or the column is for people.
        known = sum(bool(states.get(word) or said[word]) for word in words)
        if any(said.values()) and (column.meaning.quantity != "notes" or 2 * known >= len(words)):
            qualities.append((column, {word: quality for word, quality in said.items() if quality}))
    odd = [(c, w) for c in one.columns if c.odd and c.meaning.quantity in _LEVELS and (w := _odd(c))]
    unknown = _put_statuses(one, events, [*statuses, *odd], notes)
    noted += [heading for heading in unknown if heading not in noted]
    if qualities:
        rules = [{"column": c.heading, "words": words, "otherwise": ""} for c, words in qualities]
        events.put("quality", rules)
    noted += [c.heading for c in one.having("notes") if c.heading not in noted]
    if noted:
        events.put("notes", {"column": noted, "label": True} if len(noted) > 1 else {"column": noted[0]})


def _state(word: str, *, with_number: bool) -> str:
    """Return the status that a word says; of a reading with a number only one that may have one, or a sounded depth."""
    state = status_of(word)
    return "" if with_number and state not in {*NUMBER_ALLOWED, "dry"} else state


def _quality(word: str, state: str, *, with_number: bool) -> str:
    """Return the quality that a word says; a number beside a word that speaks against one is suspect."""
    quality = quality_of(word)
    if not quality and with_number and not state and status_of(word):
        return "suspect"
    return quality


def _has_number(one: Looked, events: DraftTable) -> np.ndarray:
    """Return whether each row has a number in a column that says the level."""
    held = np.zeros(len(one.table.rows), dtype=bool)
    for name in ("depth_to_water", "depth_below_ground", "water_elevation", "tape_at_mark"):
        rule = events.columns.get(name)
        if rule is not None and isinstance(rule.keys, dict) and "column" in rule.keys:
            held |= np.isfinite(numbers(one, one.table.place(rule.keys["column"])))
    return held


def _share_with_number(one: Looked, column: LookedColumn, numbered: np.ndarray) -> dict[str, float]:
    rows: dict[str, list[bool]] = {}
    for cells, held in zip(one.table.rows, numbered.tolist(), strict=True):
        rows.setdefault(cells[column.place].strip(), []).append(held)
    return {word: sum(flags) / len(flags) for word, flags in rows.items()}


def _odd(column: LookedColumn) -> dict[str, str]:
    return {word: state for word in column.odd if (state := status_of(word))}


def _words(one: Looked, column: LookedColumn) -> dict[str, int]:
    """Return all words of a column of the whole table with their counts."""
    cells = (row[column.place].strip() for row in one.table.rows)
    return dict(Counter(cell for cell in cells if cell not in {*MISSING, *one.source.missing}).most_common(500))


def _put_statuses(
    one: Looked, events: DraftTable, statuses: list[tuple[LookedColumn, dict[str, str]]], notes: Notes
) -> list[str]:
    """Put the rule of the status: with a line a word for one column, or of several columns one after the other.

    Return the headings of columns with words of which no status is known.
    """
    if len(statuses) == 1:
        column, words = statuses[0]
        keys: dict[str, Any] = {"column": column.heading}
        known = {word: state for word, state in words.items() if state}
        if known and len(known) < len(words) and not all(len(word) <= 2 for word in words):
            _say_unknown(column, words, notes)
            words = known
        if not all(words.values()):
            notes.add(f"{column.heading!r} has words that are not known; the statuses are: {', '.join(STATUSES)}")
        whole = len(words) == len(_words(one, column))
        events.put("status", keys | ({} if whole else {"otherwise": ""}), "what does it mean?", words)
        return []
    rules = []
    for column, words in statuses:
        rules.append({"column": column.heading, "words": {w: s for w, s in words.items() if s}, "otherwise": ""})
        _say_unknown(column, words, notes)
    if rules:
        events.put("status", rules)
    return [column.heading for column, words in statuses if not all(words.values())]


def _say_unknown(column: LookedColumn, words: dict[str, str], notes: Notes) -> None:
    unknown = [word for word in words if not words[word]]
    if unknown:
        shown = ", ".join(unknown[:12]) + (f" and {len(unknown) - 12} more" if len(unknown) > 12 else "")
        notes.add(f"{column.heading!r}: no status is known for {shown}; the words are kept in the notes")
