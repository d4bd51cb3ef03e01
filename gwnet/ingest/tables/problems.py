"""Every problem that a row can have, by its code phrase."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

#: Code phrase and what it means.
PROBLEMS: Final[dict[str, str]] = {
    "access-without-point": "No measuring point of that access is in force at that time.",
    "after-its-end": "An interval ends before it begins.",
    "already-recorded": "A row of the same key with other values is on record.",
    "answer-missing": "An entry of the register is answered or closed, and has no answer.",
    "aquifer-unknown": "The aquifer is not on record.",
    "before-1800": "A date lies before 1800.",
    "control-character": "A cell holds a character that cannot be printed.",
    "crs-unknown": "The coordinate system is not known or is not a projected one.",
    "date-impossible": "There is no such day.",
    "date-order-unclear": "It is not clear which is the day and which the month.",
    "depth-in-elevation-column": "A water elevation lies below the well and would be a plausible depth.",
    "duplicate-in-file": "Two rows of the files have the same key and other values.",
    "error-cell": "A workbook cell holds an error value.",
    "formula": "A workbook cell holds a formula; a formula is not a reading.",
    "in-the-future": "Something is said to have happened after now.",
    "instrument-unknown": "The instrument is not on record.",
    "level-approved": "The level is approved and its review was not reopened.",
    "interval-unclear": "A cell of a source does not say the depths of intervals.",
    "line-not-ended": "The last line of the file has no line end, and its last cell may have been cut.",
    "measuring-points-overlap": "Two measuring points of one access would be in force at the same time.",
    "missing-partner": "A limit on a change needs its days, one on a gradient its other well, and the other way round.",
    "needed-by-others": "A row cannot be withdrawn while other rows need it.",
    "no-coordinates": "Neither easting and northing nor longitude and latitude are given.",
    "no-ground-elevation": "A depth below ground needs the ground's elevation.",
    "not-a-choice": "A cell holds a word that is not in its list.",
    "not-a-date": "A cell is not a date.",
    "not-a-number": "A cell is not a number.",
    "not-a-time": "A cell is not a time of day.",
    "not-finite": "A cell holds NaN or infinity.",
    "not-positive": "A number must be larger than zero.",
    "not-whole": "A number must be whole.",
    "nothing-to-withdraw": "No live row has that key.",
    "number-not-allowed": "The status allows no number.",
    "one-quantity-wanted": "Exactly one of several columns must be filled.",
    "other-decimal-mark": "A number is written with another decimal mark than the rest of the file.",
    "other-digits": "A number is written in digits of another script.",
    "out-of-range": "A number lies outside its range.",
    "product-below-water": "Product is said to lie below water.",
    "rate-negative": "A rate of pumping is negative.",
    "rate-not-of-bucket": "A rate is not that of the bucket and the seconds in its row.",
    "required": "A required cell is empty.",
    "repeats-without-first": "A repeat is given without the reading that it repeats.",
    "round-unknown": "The gauging round is not on record.",
    "row-too-long": "A row has more cells than the heading.",
    "row-too-short": "A row has fewer cells than the heading.",
    "same-well": "A gradient is from a well to itself.",
    "site-unknown": "The site is not on record.",
    "test-unknown": "The pumping test is not on record.",
    "tests-overlap": "Two tests pump one well at the same time.",
    "thousands-mark": "A number seems to be written with a thousands mark.",
    "time-does-not-exist": "The clocks were put forward over that time.",
    "time-exists-twice": "The clocks were put back over that time.",
    "time-of-day-missing": "A reading of a pumping test has no time of day.",
    "too-long": "A text is longer than allowed.",
    "two-measuring-points": "More than one measuring point of that access is in force at that time.",
    "unit-unknown": "A unit of length is not known.",
    "well-unknown": "The well is not on record.",
    "wrong-order": "A bottom lies above its top, or a tape reads more at the water than at the mark.",
    "wrong-sign": "A depth is negative: water above the measuring point of a well that is not said to flow, or a slip.",
    "zone-unknown": "The time zone is not known.",
}

#: Problems that `--accept` lets pass: the row says something that can be stored, however unlikely it is.
ACCEPTABLE: Final[tuple[str, ...]] = (
    "access-without-point",
    "depth-in-elevation-column",
    "no-ground-elevation",
    "number-not-allowed",
    "product-below-water",
    "rate-not-of-bucket",
    "two-measuring-points",
    "wrong-sign",
)


def name_rows(numbers: Sequence[int], most: int = 10) -> str:
    """Return rows of a file in words: the first ones by number, and how many more there are.

    Parameters
    ----------
    numbers : sequence of int
        Their numbers.
    most : int, optional
        How many are named.

    Returns
    -------
    str
        For example ``rows 3, 7``.
    """
    more = f" and {len(numbers) - most} more" if len(numbers) > most else ""
    return f"row{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers[:most]))}{more}"
