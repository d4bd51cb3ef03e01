"""What looks wrong in a pumping test: levels before it, rates, times of passing, distances, levels against the rate."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from gwnet.analysis.pumping.gather import GatheredTest

#: A well farther than this from the pumped one is a slip of coordinates more often than a well of the test [m].
FARTHEST_M: Final = 10_000.0

#: Smallest rise that counts while the pump runs [m]; readings by hand differ by a centimetre.
_LEAST_RISE_M: Final = 0.02

#: How far a first rate may begin after the start, or a reading stand after the stop, without a word [min].
_SLACK_MIN: Final = 0.5


@dataclass(frozen=True)
class PumpingFinding:
    """One thing that looks wrong in a test.

    Attributes
    ----------
    rule : str
        The rule, as a plain phrase.
    well : str
        The well that it concerns.
    message, fix : str
        What was found, with its numbers, and what can be done.
    """

    rule: str
    well: str
    message: str
    fix: str


Find = Callable[["GatheredTest"], Iterable[PumpingFinding]]

#: Every rule with what it looks for and the function that gives its findings.
RULES: Final[dict[str, tuple[str, Find]]] = {}


def _rule(rule: str, looks_for: str) -> Callable[[Find], Find]:
    def register(find: Find) -> Find:
        RULES[rule] = (looks_for, find)
        return find

    return register


def find_in_test(test: GatheredTest) -> list[PumpingFinding]:
    """Return what looks wrong in a test.

    Parameters as `gwnet.analysis.pumping`.
    """
    return [finding for _, find in RULES.values() for finding in find(test)]


NO_STATIC: Final = "no level before the test"
NO_RATE: Final = "no rate of the test"
RATE_GAP: Final = "gap in the rates"
RATE_OVERLAP: Final = "rates overlap"
ZERO_RATE: Final = "rate of zero while pumping"
OTHER_PUMPS: Final = "another well pumped in the test"
SAME_WELL: Final = "two tests at one well at one time"
PASSING_ORDER: Final = "times of passing out of order"
RISES: Final = "level rises while pumping"
FAR: Final = "well far from the pumped well"
NO_STOP: Final = "end of pumping not on record"
BELOW: Final = "level below the bottom of the well"
TWICE: Final = "two levels at one time"


@_rule(NO_STATIC, "a well with readings of a test and no level before its start, so that it has no drawdown")
def _find_wells_without_static_level(test: GatheredTest) -> Iterator[PumpingFinding]:
    for well, levels in test.levels.groupby("well"):
        read = levels[levels["given_drawdown_m"].isna()]
        if len(read) and not (read["elapsed_min"] <= 0).any():
            first = read["elapsed_min"].min()
            message = (
                f"{well} has {_count(len(read), 'reading')} of test {test.test}, the first {first:g} min after the "
                f"start, and no level in the {test.before_hours:g} h before it."
            )
            yield PumpingFinding(NO_STATIC, str(well), message, "Load the level that was read before the pump started.")


@_rule(NO_RATE, "a test with readings and without a rate of the pumped well")
def _find_missing_rate(test: GatheredTest) -> Iterator[PumpingFinding]:
    # A test that is planned has no reading after its start, and lacks nothing.
    is_planned = not (test.levels["elapsed_min"] > 0).any()
    if test.kind == "slug" or is_planned or (_pumped(test)["rate_l_s"] > 0).any():
        return
    message = f"Test {test.test} has no rate of {test.well} above 0."
    yield PumpingFinding(NO_RATE, test.well, message, "Load its rates in a table pumping_rates.")


@_rule(RATE_GAP, "a rate that begins after the start of the test, before it, or after the pump stopped")
def _find_rate_gaps(test: GatheredTest) -> Iterator[PumpingFinding]:
    rates = _pumped(test)
    begin = rates["elapsed_min"]
    if len(rates) and begin.iloc[0] > _SLACK_MIN:
        message = f"No rate of {test.well} is on record for the first {begin.iloc[0]:g} min of test {test.test}."
        yield PumpingFinding(RATE_GAP, test.well, message, "Load the rate from the start, or correct the test's start.")
    if len(rates) and begin.iloc[0] < -_SLACK_MIN:
        message = f"A rate of {test.well} begins {-begin.iloc[0]:g} min before the start of test {test.test}."
        yield PumpingFinding(RATE_GAP, test.well, message, "Correct the start of the rate, or that of the test.")
    late = rates[(begin > test.stop_min + _SLACK_MIN) & (rates["rate_l_s"] > 0)]
    for row in late.itertuples():
        message = (
            f"{test.well} is said to pump {row.rate_l_s:g} L/s from minute {row.elapsed_min:g} of test {test.test}; "
            f"the pump stopped at minute {test.stop_min:g}."
        )
        yield PumpingFinding(RATE_GAP, test.well, message, "Correct the time of the rate, or when the test stops.")


@_rule(RATE_OVERLAP, "two rates of one well that begin at the same moment")
def _find_rate_overlaps(test: GatheredTest) -> Iterator[PumpingFinding]:
    for (well, minute), rows in test.rates.groupby(["well", "elapsed_min"]):
        if len(rows) > 1:
            values = " and ".join(f"{rate:g}" for rate in rows["rate_l_s"])
            message = f"Rates of {values} L/s of {well} both begin at minute {minute:g} of test {test.test}."
            yield PumpingFinding(RATE_OVERLAP, str(well), message, "Withdraw the wrong one, or correct its time.")


@_rule(ZERO_RATE, "a pump that stood still before the end of pumping, which counts as recovery")
def _find_zero_rates(test: GatheredTest) -> Iterator[PumpingFinding]:
    rates = _pumped(test)
    idle = rates[(rates["rate_l_s"] == 0) & (rates["elapsed_min"] < test.stop_min - _SLACK_MIN)]
    for row in idle.itertuples():
        later = rates.loc[rates["elapsed_min"] > row.elapsed_min, "elapsed_min"]
        until = f"minute {later.iloc[0]:g}" if len(later) else "the end"
        message = f"The rate of {test.well} is 0 from minute {row.elapsed_min:g} to {until} of test {test.test}."
        fix = "If the pump stood still, leave it: the analyses take it into account. If not, correct the rate."
        yield PumpingFinding(ZERO_RATE, test.well, message, fix)


@_rule(OTHER_PUMPS, "another well that is pumped while a test is under way, in it or in another test of the aquifer")
def _find_other_pumps(test: GatheredTest) -> Iterator[PumpingFinding]:
    beside = test.pumped_beside()
    for (well, other), rows in beside.groupby(["well", "test"]):
        # Its own pumping is of another finding: two tests at one well.
        if well == test.well and _overlaps(test, rows):
            continue
        where = "" if other == test.test else f" in test {other}"
        message = (
            f"{well} is pumped during test {test.test} of {test.well}{where}, {_span(rows)}; unless it is superposed "
            f"the analyses take the pumping of {test.well} in this test alone."
        )
        fix = f"Superpose it (--superpose {well}), or judge the drawdowns with that in mind."
        yield PumpingFinding(OTHER_PUMPS, str(well), message, fix)


@_rule(SAME_WELL, "another test at the same well while its pump runs for a test")
def _find_overlapping_tests(test: GatheredTest) -> Iterator[PumpingFinding]:
    own = test.others[test.others["well"] == test.well]
    for other, rows in own.groupby("test"):
        if _overlaps(test, rows):
            message = (
                f"Test {other} has rates of {test.well}, {_span(rows)} of test {test.test}, which has its own rates "
                "then; one pump has one rate."
            )
            fix = f"Correct start and stop of {test.test} or {other}, or withdraw the rates that are wrong."
            yield PumpingFinding(SAME_WELL, test.well, message, fix)


def _overlaps(test: GatheredTest, rows: pd.DataFrame) -> bool:
    """Return whether rates of another test meet the time in which the pump of a test runs."""
    return bool(((rows["from_min"] < test.stop_min) & (rows["until_min"] > 0.0)).any())


def _span(rows: pd.DataFrame) -> str:
    """Return from when to when there are rates."""
    last = float(rows["until_min"].max())
    until = f"to minute {last:g}" if math.isfinite(last) else "with no end on record"
    return f"from minute {rows['from_min'].min():g} {until}"


@_rule(PASSING_ORDER, "set depths whose times of passing do not follow their order")
def _find_passings_out_of_order(test: GatheredTest) -> Iterator[PumpingFinding]:
    passed = test.levels[test.levels["passed"] != ""]
    for (well, how), rows in passed.groupby(["well", "passed"]):
        for _, run in rows.groupby(_run_of_rate(test, rows["elapsed_min"])):
            depth, minute = (run[name].to_numpy(dtype=np.float64) for name in ("depth_to_water_m", "elapsed_min"))
            step = np.diff(depth)
            for place in np.flatnonzero((step <= 0) if how == "falling" else (step >= 0)).tolist():
                message = (
                    f"The water in {well}, {how}, is said to pass {depth[place]:.3f} m at minute {minute[place]:g} of "
                    f"test {test.test} and {depth[place + 1]:.3f} m at minute {minute[place + 1]:g}."
                )
                fix = "Check both times in the field notes; one of them, or falling and rising, is wrong."
                yield PumpingFinding(PASSING_ORDER, str(well), message, fix)


def _run_of_rate(test: GatheredTest, minutes: pd.Series) -> pd.Series:
    """Return for each moment the number of the rate that holds then; the stop counts as a change of rate."""
    starts = [*_pumped(test)["elapsed_min"], test.stop_min]
    return minutes.map(lambda minute: sum(start <= minute for start in starts))


@_rule(RISES, "a level that rises while the pump runs at a rate that has not fallen")
def _find_rises(test: GatheredTest) -> Iterator[PumpingFinding]:
    if test.kind == "slug":
        return
    rates = _pumped(test)
    # After a fall of the rate levels rise, as they should.
    fallen = rates["rate_l_s"].diff() < 0
    changes = [float(minute) for minute in rates.loc[fallen, "elapsed_min"]]
    running = test.levels[(test.levels["elapsed_min"] > 0) & (test.levels["elapsed_min"] <= test.stop_min)]
    for (well, _), rows in running.groupby(["well", "source"]):
        height = (-rows["given_drawdown_m"]).fillna(rows["water_elevation_m"]).fillna(-rows["depth_to_water_m"])
        width = rows["half_width_m"].fillna(0.0).to_numpy(dtype=np.float64)
        minute = rows["elapsed_min"].to_numpy(dtype=np.float64)
        rise = np.diff(height.to_numpy(dtype=np.float64))
        # Less than two readings differ by chance is no rise.
        limit = np.maximum(_LEAST_RISE_M, np.hypot(width[1:], width[:-1]))
        for place in np.flatnonzero(rise > limit).tolist():
            if any(minute[place] < change <= minute[place + 1] for change in changes):
                continue
            message = (
                f"The level of {well} rises by {rise[place]:.3f} m from minute {minute[place]:g} to minute "
                f"{minute[place + 1]:g} of test {test.test}, while the pump runs."
            )
            fix = (
                "Check both readings, the rate and the time of the stop; rain, a river or another pump may be at work."
            )
            yield PumpingFinding(RISES, str(well), message, fix)
            # The first rise of a well says it; the others mostly follow from it.
            break


@_rule(FAR, "a well of a test whose distance from the pumped well is not known, or beyond any effect of pumping")
def _find_far_wells(test: GatheredTest) -> Iterator[PumpingFinding]:
    read = test.levels.loc[test.levels["source"] == "manual", "well"]
    for row in test.wells.itertuples():
        if row.well == test.well or row.well not in set(read):
            continue
        if math.isnan(row.distance_m):
            message = f"The distance of {row.well} from {test.well} is not known: one of them has no coordinates."
            yield PumpingFinding(FAR, str(row.well), message, "Give both wells their coordinates.")
        elif row.distance_m > FARTHEST_M:
            message = f"{row.well} lies {row.distance_m / 1000.0:.1f} km from {test.well}, the pumped well."
            yield PumpingFinding(FAR, str(row.well), message, "Check the coordinates of both and the code of the well.")
        elif row.distance_m == 0.0:
            message = f"{row.well} has the coordinates of {test.well}, the pumped well."
            yield PumpingFinding(FAR, str(row.well), message, "Survey the distance; give both wells their coordinates.")


@_rule(NO_STOP, "a pumping test of which the end is not on record")
def _find_open_tests(test: GatheredTest) -> Iterator[PumpingFinding]:
    is_planned = not (test.levels["elapsed_min"] > 0).any()
    if (
        test.kind != "slug"
        and not is_planned
        and pd.isna(test.stops_utc)
        and not (_pumped(test)["rate_l_s"] == 0).any()
    ):
        message = (
            f"It is not on record when the pump of test {test.test} stopped, so pumping and recovery are not "
            "distinguished."
        )
        yield PumpingFinding(NO_STOP, test.well, message, "Correct the test: give stops_at.")


@_rule(BELOW, "a manual reading of a test below the bottom of the well, such as one in another unit")
def _find_levels_below_the_bottom(test: GatheredTest) -> Iterator[PumpingFinding]:
    manual = test.levels[(test.levels["source"] == "manual") & test.levels["depth_to_water_m"].notna()]
    bottom = test.wells.set_index("well")["total_depth_m"]
    ground = test.wells.set_index("well")["ground_elevation_m"]
    for well, rows in manual.groupby("well"):
        below_ground = (float(ground[well]) - rows["water_elevation_m"]).fillna(rows["depth_to_water_m"])
        deep = rows[below_ground > float(bottom[well])]
        if deep.empty:
            continue
        first = deep.iloc[0]
        message = (
            f"{_count(len(deep), 'reading')} of {well} in test {test.test}, the first {first['depth_to_water_m']:.3f} "
            f"m at minute {first['elapsed_min']:g}, below the bottom of the well, {bottom[well]:.2f} m below ground."
        )
        fix = "Check the reading, the unit in the heading of its column, and the depth of the well on record."
        yield PumpingFinding(BELOW, str(well), message, fix)


@_rule(TWICE, "two readings of one well at one moment of a test that differ")
def _find_double_readings(test: GatheredTest) -> Iterator[PumpingFinding]:
    manual = test.levels[(test.levels["source"] == "manual") & test.levels["depth_to_water_m"].notna()]
    for (well, minute), rows in manual.groupby(["well", "elapsed_min"]):
        spread = rows["depth_to_water_m"].max() - rows["depth_to_water_m"].min()
        if spread > _LEAST_RISE_M:
            values = " and ".join(f"{depth:.3f}" for depth in rows["depth_to_water_m"])
            message = f"Depths of {values} m are on record of {well} at minute {minute:g} of test {test.test}."
            yield PumpingFinding(TWICE, str(well), message, "Withdraw the wrong one.")


def _pumped(test: GatheredTest) -> pd.DataFrame:
    return test.rates[test.rates["well"] == test.well]


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
