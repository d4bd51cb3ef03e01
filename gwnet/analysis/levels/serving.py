"""Which levels serve a purpose: as numbers, as bounds, or left out with the reason.

The rules are in one table, `RULES`. A level to which no rule applies serves every purpose as a number. A bound (a dry
or a flowing well, a sensor out of water) is no number; whether it serves all the same is for the purpose: no map takes
bounds, statistics take those of dry and flowing wells and of sensors out of water, thresholds take all that are not
held back by review.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT, is_below_screen, is_noticed, is_sensor_out

Mask = NDArray[np.bool_]

#: Statuses whose levels may serve as numbers.
USABLE_STATUSES: Final = ("static", "flowing")

#: Qualities whose levels may not.
UNUSABLE_QUALITIES: Final = ("suspect", "poor")

#: Where a level comes from.
SOURCES: Final = ("manual", "logger", "gauge")

#: What the reduction notices of levels that the well does not allow; they serve once somebody has approved them.
IMPOSSIBLE: Final = ("below the bottom of the well", "above the measuring point, not flowing")

#: Statuses that say nothing of the water; at any other but ``static`` the water itself bars the level.
_UNREAD_STATUSES: Final = ("no access", "not found", "obstructed", "not measured", "frozen")

#: Begins the reason of a level, manual or of a logger, about which a serious finding is open; its rule follows.
OPEN_FINDING: Final = "serious finding open: "

#: Columns of levels that are judged.
JUDGED_COLUMNS: Final = ("serves", "bound", "reason", "source")

#: Columns of levels that take part in statistics.
USED_COLUMNS: Final = ("site", "well", "day", "low", "high", "source")

#: Columns of levels that take no part.
LEFT_OUT_COLUMNS: Final = ("site", "well", "measured_at", "status", "water_elevation_m", "quality", "review", "reason")


#: What levels are asked for: trends, seasons, steps and decompositions; the control of maps, gradients and changes; the
#: state of thresholds.
Purpose = Literal["statistics", "map", "threshold"]
PURPOSES: Final[tuple[Purpose, ...]] = get_args(Purpose)


@dataclass(frozen=True)
class Rule:
    """One reason for which a level does not serve as a number.

    Attributes
    ----------
    applies : callable
        Takes a levels frame, returns where the rule applies.
    reason : callable
        Takes a levels frame, returns the reason of each row in words.
    bars_bounds : frozenset of Purpose
        Purposes that do not take the level as a bound either.
    is_of_reading : bool
        Whether the reading and not the water is at fault, so that a logger may give the level instead.
    """

    applies: Callable[[pd.DataFrame], Mask]
    reason: Callable[[pd.DataFrame], NDArray[np.object_]]
    bars_bounds: frozenset[Purpose]
    is_of_reading: bool = False


def _phrase(words: str) -> Callable[[pd.DataFrame], NDArray[np.object_]]:
    return lambda levels: np.full(len(levels), words, dtype=object)


def _finding(phrase: str) -> Callable[[pd.DataFrame], Mask]:
    """Return a predicate: whether the reduction noticed something."""
    return lambda levels: is_noticed(levels, phrase)


def _is_in_doubt(levels: pd.DataFrame) -> Mask:
    """Return which levels are of a logger about which a serious finding is open."""
    texts = [text for text in levels["finding"].unique() if str(text).startswith(OPEN_FINDING)]
    return np.asarray(levels["finding"].isin(texts), dtype=bool)


def _unapproved(phrase: str) -> Callable[[pd.DataFrame], Mask]:
    """Return a predicate: whether the reduction noticed something unlikely and nobody has approved the level since."""
    return lambda levels: is_noticed(levels, phrase) & (levels["review"] != "approved").to_numpy(dtype=bool)


def _has_open_finding(levels: pd.DataFrame) -> Mask:
    """Return which levels a serious finding is open of."""
    # Levels that are reduced alone, as for checks, have no findings yet: checks are what finds them.
    if "open_finding" not in levels:
        return np.zeros(len(levels), dtype=bool)
    return np.asarray(levels["open_finding"] != "", dtype=bool)


def _name_open_finding(levels: pd.DataFrame) -> NDArray[np.object_]:
    if "open_finding" not in levels:
        return np.full(len(levels), "", dtype=object)
    return np.asarray(OPEN_FINDING + levels["open_finding"], dtype=object)


def _review(state: str) -> Callable[[pd.DataFrame], Mask]:
    return lambda levels: (levels["review"] == state).to_numpy(dtype=bool)


_MAP: Final = frozenset[Purpose]({"map"})
_MAP_AND_STATISTICS: Final = frozenset[Purpose]({"map", "statistics"})
_ALL: Final = frozenset(PURPOSES)

#: Every rule; of those that apply the first one gives the reason.
RULES: Final = (
    Rule(
        lambda levels: ~levels["status"].isin(USABLE_STATUSES).to_numpy(dtype=bool),
        lambda levels: levels["status"].to_numpy(dtype=object),
        _MAP,
    ),
    Rule(_is_in_doubt, lambda levels: levels["finding"].to_numpy(dtype=object), _ALL),
    Rule(is_below_screen, _phrase(BELOW_SCREEN), _MAP_AND_STATISTICS),
    Rule(is_sensor_out, _phrase(SENSOR_OUT), _MAP),
    *(Rule(_unapproved(phrase), _phrase(phrase), _MAP_AND_STATISTICS) for phrase in IMPOSSIBLE),
    Rule(_finding("repeats disagree"), _phrase("repeats disagree"), _MAP, is_of_reading=True),
    Rule(_finding("no measuring point in force"), _phrase("no measuring point in force"), _MAP),
    Rule(_finding("two measuring points in force"), _phrase("two measuring points in force"), _MAP_AND_STATISTICS),
    Rule(_finding("measuring point in another datum"), _phrase("measuring point in another datum"), _MAP),
    Rule(_finding("product without density"), _phrase("floating product not corrected"), _MAP),
    Rule(_review("rejected"), _phrase("rejected on review"), _ALL, is_of_reading=True),
    Rule(_review("on hold"), _phrase("on hold"), _ALL, is_of_reading=True),
    Rule(_has_open_finding, _name_open_finding, _ALL, is_of_reading=True),
    Rule(
        lambda levels: levels["quality"].isin(UNUSABLE_QUALITIES).to_numpy(dtype=bool),
        lambda levels: ("quality " + levels["quality"]).to_numpy(dtype=object),
        _MAP_AND_STATISTICS,
        is_of_reading=True,
    ),
    Rule(
        lambda levels: (levels["bound"] == ">=").to_numpy(dtype=bool),
        _phrase("flowing, head not measured"),
        _MAP,
    ),
    Rule(
        lambda levels: levels["water_elevation_m"].isna().to_numpy(dtype=bool),
        _phrase("no water elevation"),
        _MAP,
        is_of_reading=True,
    ),
)

#: Reasons that a reader of a map needs in more words.
_ON_MAP: Final = {
    "dry": "dry: the level is only a bound",
    BELOW_SCREEN: "water below the screen: the level is only a bound",
    SENSOR_OUT: "sensor out of water: the level is only a bound",
    "flowing, head not measured": "flowing, head not measured: the level is only a bound",
    "on hold": "on hold in review",
    "": "may not be used",
}


def unusable_reasons(levels: pd.DataFrame) -> NDArray[np.object_]:
    """Return why levels do not serve as numbers.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of str
        The reason of the first rule that applies; empty for a level that is usable.
    """
    return _first_reason(levels, RULES)


def with_open_findings(levels: pd.DataFrame, findings: Mapping[int, str]) -> pd.DataFrame:
    """Return levels with the serious findings that are open of them, and judged by them.

    Parameters as `gwnet.analysis.levels`.

    Parameters
    ----------
    findings : mapping of int to str
        Rule of a finding by event, as `gwnet.analysis.checks.open_findings.open_findings`.

    Returns
    -------
    pandas.DataFrame
        The levels with ``open_finding``, empty where none is open; ``usable`` and ``unusable_reason`` follow.
    """
    levels = levels.assign(
        open_finding=np.array([findings.get(event, "") for event in levels["event_id"].tolist()], dtype=object)
    )
    if not findings:
        return levels
    reasons = unusable_reasons(levels)
    return levels.assign(usable=reasons == "", unusable_reason=reasons)


def _first_reason(levels: pd.DataFrame, rules: tuple[Rule, ...]) -> NDArray[np.object_]:
    reasons = [rule.reason(levels) for rule in rules]
    # In the order of the table: the first rule that applies gives the reason.
    return np.select([rule.applies(levels) for rule in rules], reasons, default="").astype(object)


def judge_levels(levels: pd.DataFrame, purpose: Purpose, *, approved: bool = False) -> pd.DataFrame:
    """Return which levels serve a purpose.

    Parameters as `gwnet.analysis.levels`.

    Parameters
    ----------
    purpose : {"statistics", "map", "threshold"}
        What they are asked for.

    Returns
    -------
    pandas.DataFrame
        Columns of `JUDGED_COLUMNS`, with the index of ``levels``: serves; bound (``<=``, ``>=``, empty for a number);
        reason in words (empty where it serves); and source, one of `SOURCES`.
    """
    serves = levels["usable"].to_numpy(dtype=bool)
    reasons = levels["unusable_reason"].to_numpy(dtype=object)
    waiting = (
        (levels["review"] == "provisional").to_numpy(dtype=bool) if approved else np.zeros(len(levels), dtype=bool)
    )
    is_bound = _candidate_bounds(levels, purpose)
    if is_bound.any():
        objection = _first_reason(levels, tuple(rule for rule in RULES if purpose in rule.bars_bounds))
        objection = np.where((objection == "") & waiting, "provisional", objection)
        kinds = [levels["status"] == "dry", is_sensor_out(levels), levels["bound"] == ">="]
        what = np.select(kinds, ["dry", SENSOR_OUT, "flowing"], "").astype(object)
        # A bound without a kind of its own keeps the reason of the level.
        reasons = np.where(is_bound & (what != ""), what + ", " + objection, reasons)
        is_bound = is_bound & (objection == "")
    # A level that would serve waits for approval only; any other reason is the stronger one.
    reasons = np.where(serves & waiting, "provisional", reasons)
    serves = (serves & ~waiting) | is_bound
    if purpose == "map":
        reasons = np.array([describe_on_map(str(reason)) for reason in reasons], dtype=object)
    return pd.DataFrame(
        {
            "serves": serves,
            "bound": levels["bound"],
            "reason": np.where(serves, "", reasons),
            "source": source_of(levels),
        },
        index=levels.index,
    )


def _candidate_bounds(levels: pd.DataFrame, purpose: Purpose) -> Mask:
    """Return which levels could serve as bounds if no rule bars them."""
    # A surface needs numbers: a bound would be drawn as if water had been met there.
    if purpose == "map":
        return np.zeros(len(levels), dtype=bool)
    if purpose == "threshold":
        # A bound beyond a threshold proves the crossing, whatever the status.
        return np.asarray(levels["bound"] != "", dtype=bool)
    shows_limit = (levels["status"] == "dry") | is_sensor_out(levels)
    is_bound = (shows_limit & (levels["bound"] == "<=")) | (levels["bound"] == ">=")
    return np.asarray(is_bound & levels["water_elevation_m"].notna(), dtype=bool)


def source_of(levels: pd.DataFrame) -> NDArray[np.object_]:
    """Return where levels come from.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of str
        ``logger`` or ``manual``.
    """
    if "method" not in levels:
        return np.full(len(levels), "manual", dtype=object)
    return np.where(levels["method"] == "logger", "logger", "manual").astype(object)


def describe_on_map(reason: str) -> str:
    """Return why a level is not on a map, in the words that a reader of the map needs.

    Parameters
    ----------
    reason : str
        ``unusable_reason`` of the level.
    """
    return _ON_MAP.get(reason, reason)


def is_reading_at_fault(status: str, reason: str) -> bool:
    """Return whether a level is barred by its reading and not by the water, so that a logger may give it instead.

    Parameters
    ----------
    status : str
        Status of the level event.
    reason : str
        Its ``unusable_reason``.

    Returns
    -------
    bool
        Whether nobody could read, or the reading of a static level is what is wrong.
    """
    if status in _UNREAD_STATUSES:
        return True
    # A logger may replace a bad reading, but not deny a dry or a pumped well.
    return status == "static" and (reason in _REASONS_OF_READING or reason.startswith(OPEN_FINDING))


_REASONS_OF_READING: Final = frozenset(
    str(reason)
    for rule in RULES
    if rule.is_of_reading
    for reason in rule.reason(pd.DataFrame({"quality": UNUSABLE_QUALITIES}))
    # A frame without findings names none; no reason is none of the reading's.
    if reason
)


def used_levels(levels: pd.DataFrame, *, approved: bool = False) -> tuple[pd.DataFrame, dict[tuple[str, str], str]]:
    """Return the levels that take part in statistics, and for each well how many others there are and why.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    used : pandas.DataFrame
        Columns of `USED_COLUMNS`, with the index of ``levels``: day (local date), low and high (lowest and highest
        possible water elevation, equal for a number; low is −infinity for a dry well, high infinity for a flowing
        one without a number) [m], and source.
    left_out : dict
        For each (site, well) with others: counts with reasons, such as ``2 pumping; 1 quality poor``.
    """
    judged = judge_levels(levels, "statistics", approved=approved)
    serves = judged["serves"]
    kept = levels[serves]
    number = kept["water_elevation_m"]
    is_bound, flows = ~kept["usable"].astype(bool), kept["bound"] == ">="
    used = kept[["site", "well", "day"]].assign(
        # A dry well's level may be anywhere below the bound, a flowing one's anywhere above.
        low=number.mask(is_bound & ~flows, -np.inf),
        high=number.mask(is_bound & flows, np.inf),
        source=judged.loc[serves, "source"],
    )
    rest = levels.loc[~serves, ["site", "well"]].assign(reason=judged["reason"])
    reasons: dict[tuple[str, str], list[str]] = {}
    for (site, well, reason), count in rest.groupby(["site", "well", "reason"]).size().items():
        reasons.setdefault((site, well), []).append(f"{count} {reason}")
    return used, {key: "; ".join(counted) for key, counted in reasons.items()}


def values_and_bounds(low: ArrayLike, high: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return numbers or bounds, and which they are, from the lowest and highest possible levels.

    Parameters
    ----------
    low : array_like, shape (n,)
        Lowest possible levels; −infinity for an upper bound (dry) [m].
    high : array_like, shape (n,)
        Highest possible levels; infinity for a lower bound (flowing) [m].

    Returns
    -------
    tuple of ndarray
        Values [m], NaN where nothing is known; and -1 where the level is at or below the value, +1 where it is at or
        above it, 0 where it is the value.

    Examples
    --------
    >>> [part.tolist() for part in values_and_bounds([-np.inf, 3.0, 2.0], [1.0, np.inf, 2.0])]
    [[1.0, 3.0, 2.0], [-1, 1, 0]]
    """
    lowest, highest = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    # Flowing first: its lowest possible level is the number on record.
    flows = np.isposinf(highest)
    value = np.where(flows, lowest, highest)
    return np.where(np.isinf(value), np.nan, value), np.where(flows, 1, np.where(np.isneginf(lowest), -1, 0))


def left_out_levels(levels: pd.DataFrame, *, approved: bool = False) -> pd.DataFrame:
    """Return the levels that take no part in statistics, each with its reason.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        Columns of `LEFT_OUT_COLUMNS`, in the order of ``levels``.
    """
    judged = judge_levels(levels, "statistics", approved=approved)
    rest = levels.assign(reason=judged["reason"])[~judged["serves"]]
    return rest[list(LEFT_OUT_COLUMNS)].reset_index(drop=True)
