"""Levels of a few wells for tests of trends, built a row at a time; constructed."""

from .frames import levels


def record(*rows):
    """Return levels from (well, date, elevation[, more]); more may also hold quality, review, finding and method."""
    usual = {"quality": "good", "review": "approved", "finding": "", "method": "electric tape"}
    given = [{**usual, **(row[3] if len(row) > 3 else {})} for row in rows]
    frame = levels(*(((*row, {})[:4]) for row in rows))
    return frame.assign(**{name: [more[name] for more in given] for name in usual})


def dry(well, day, bound, **more):
    return well, day, bound, {"status": "dry", "bound": "<=", "unusable_reason": "dry", **more}


def quarterly(well, values, first=2001):
    """Return rows with four values a year from the first year on; None where there is none."""
    days = ("02-15", "05-15", "08-15", "11-15")
    rows = [(well, f"{first + k // 4}-{days[k % 4]}", value) for k, value in enumerate(values)]
    return [row for row in rows if row[2] is not None]


def yearly(well, values, first=2001):
    return [(well, f"{first + k}-06-15", value) for k, value in enumerate(values) if value is not None]


def wells_of(frame, aquifer="upper"):
    return frame[["site", "well"]].drop_duplicates().assign(aquifer=aquifer)
