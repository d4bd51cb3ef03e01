"""How well limits of trends, threshold dates and steps hold in simulated levels: coverage, share significant, width.

Run: ``python tests/bench/bench_trend_limits.py [PART ...] [DRAWS]`` (trends, sharing, dates, steps, bends, changes;
default all, 1000 draws). Each case is one row: share of false alarms, power for a rise of three standard deviations (of
a fall to the threshold, of a step), share of limits that hold the truth, and their median width. Noise is
autoregressive of order 1 with a standard deviation of 1 m and fixed seeds. Shares are uncertain by about 1/√DRAWS at
most. ``sharing`` and ``bends`` have aquifers of ten wells, a tenth of the draws, each well judged alone and with the
memory of the nine others; so much of the variance of their noise is common to all.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_changes import find_bend, find_level_changes, find_step
from gwnet.analysis.series.trend_lines import LineValues, line_values
from gwnet.analysis.series.trend_memory import memory_weights, with_curves
from gwnet.analysis.series.trend_records import SharedMemory, well_records
from gwnet.analysis.series.trend_thresholds import threshold_dates
from gwnet.analysis.series.trends import trends

MONTH_DAYS = [f"{month:02}-15" for month in range(1, 13)]
QUARTER_DAYS = MONTH_DAYS[1::3]
YEAR_DAYS = ("06-15",)


def some(cases: tuple, draws: int, few: int = 2) -> tuple:
    """Return all cases, or the first few where there are fewer than ten draws, which only show that it runs."""
    return cases if draws >= 10 else cases[:few]


def noise(random: np.random.Generator, wells: int, count: int, correlation: float) -> np.ndarray:
    """Return noise, a row for each well, with a correlation from value to value."""
    made = random.normal(size=(wells, count))
    rest = np.sqrt(1.0 - correlation**2)
    for k in range(1, count):
        made[:, k] = correlation * made[:, k - 1] + rest * made[:, k]
    return made


def as_levels(values: np.ndarray, days: list[str] | tuple[str, ...], first: int = 1980) -> pd.DataFrame:
    """Return values as usable levels on the same days of every year."""
    wells, count = values.shape
    dates = [f"{first + k // len(days)}-{days[k % len(days)]}" for k in range(count)]
    return pd.DataFrame(
        {
            "site": "S",
            "well": np.repeat([f"W{k:04}" for k in range(wells)], count),
            "measured_at": np.tile(dates, wells),
            "day": pd.to_datetime(np.tile(dates, wells)),
            "status": "static",
            "bound": "",
            "water_elevation_m": 40.0 + values.ravel(),
            "usable": True,
            "unusable_reason": "",
            "quality": "good",
            "review": "approved",
            "finding": "",
        }
    )


def wells_of(levels: pd.DataFrame) -> pd.DataFrame:
    """Return the wells of a frame of levels."""
    return levels[["site", "well"]].drop_duplicates().assign(aquifer="upper")


def trend_case(years: int, monthly: float, draws: int, *, method: str = "seasonal", seed: int = 1) -> dict[str, float]:
    """Return what trends give in monthly levels with a correlation from month to month."""
    plain = noise(np.random.default_rng(seed), draws, 12 * years, monthly)
    rise = 3.0 * np.arange(12 * years) / (12 * years)
    row: dict[str, float] = {}
    for name, values, slope in (("false", plain, 0.0), ("power", plain + rise, 3.0 / years)):
        levels = as_levels(values, MONTH_DAYS)
        found = trends(levels, wells_of(levels), method=method)
        row[name] = float((found["p"] <= 0.05).mean())
        row["answered"] = float(found["p"].notna().mean())
        inside = found["slope_lower_m_per_year"].le(slope) & found["slope_upper_m_per_year"].ge(slope)
        row[f"held_{name}"] = float(inside.mean())
        row["width"] = float((found["slope_upper_m_per_year"] - found["slope_lower_m_per_year"]).median())
        row["warned"] = float(found["note"].str.contains("short against its memory").mean())
    return row


def print_trends(draws: int) -> None:
    """Print what trends give."""
    print("trends: method    years  monthly  false   power   held, level / rising  width [m/a]  answered  warned")
    for method in ("seasonal", "kendall"):
        for years in some((10, 20, 40), draws, 1):
            for monthly in some((0.0, 0.9, 0.95, 0.98, 0.99), draws):
                row = trend_case(years, monthly, draws, method=method)
                print(
                    f"        {method:9} {years:5}  {monthly:7.2f}  {row['false']:6.1%}  {row['power']:6.1%}  "
                    f"{row['held_false']:6.1%} / {row['held_power']:6.1%}       {row['width']:11.3f}  "
                    f"{row['answered']:8.1%}  {row['warned']:6.1%}",
                    flush=True,
                )


def line_values_of(levels: pd.DataFrame) -> dict[str, LineValues]:
    """Return the values of each well as lines take them."""
    records = well_records(used_levels(levels)[0], 4)
    values = {well: line_values(record) for (_, well), record in records.items()}
    return {well: given for well, given in values.items() if given is not None}


def sharing_case(
    years: int, monthly: float, aquifers: int, *, wells: int = 10, common: float = 0.0, seed: int = 4
) -> dict[str, float]:
    """Return what trends give in monthly levels of aquifers, each well judged alone and with what the others show."""
    random = np.random.default_rng(seed)
    rise = 3.0 * np.arange(12 * years) / (12 * years)
    found: dict[str, list[pd.DataFrame]] = {}
    for _ in range(aquifers):
        own, same = noise(random, wells, 12 * years, monthly), noise(random, 1, 12 * years, monthly)
        plain = np.sqrt(1.0 - common) * own + np.sqrt(common) * same
        for name, values in (("false", plain), ("power", plain + rise)):
            levels = as_levels(values, MONTH_DAYS)
            names, weights = memory_weights(line_values_of(levels))
            memory = {
                ("S", well): SharedMemory("upper", wells - 1, row)
                for well, row in zip(names, weights[:-1], strict=True)
            }
            for how, given in (("alone", None), ("shared", memory)):
                found.setdefault(f"{name}_{how}", []).append(trends(levels, wells_of(levels), memory=given))
    tables = {name: pd.concat(each) for name, each in found.items()}
    row = {name: float((table["p"] <= 0.05).mean()) for name, table in tables.items()}
    for how in ("alone", "shared"):
        lower, upper = (tables[f"power_{how}"][f"slope_{end}_m_per_year"] for end in ("lower", "upper"))
        row[f"held_{how}"] = float((lower.le(3.0 / years) & upper.ge(3.0 / years)).mean())
        row[f"width_{how}"] = float((upper - lower).median())
    return row


def print_sharing(draws: int) -> None:
    """Print what trends give where wells share their memory."""
    print(
        "sharing: years  monthly  common  false: alone, shared  power: alone, shared  held: alone, shared  widths [m/a]"
    )
    cases = ((0.9, 0.5), (0.9, 0.0), (0.0, 0.0), (0.95, 0.0), (0.98, 0.0), (0.98, 0.5), (0.99, 0.0))
    for years in some((10, 20, 40), draws, 1):
        for monthly, common in some(cases, draws):
            row = sharing_case(years, monthly, max(draws // 10, 1), common=common)
            pairs = [
                f"{row[f'{name}_alone']:7.1%}, {row[f'{name}_shared']:6.1%}" for name in ("false", "power", "held")
            ]
            print(
                f"         {years:5}  {monthly:7.2f}  {common:6.1f}  {'       '.join(pairs)}      "
                f"{row['width_alone']:.3f}, {row['width_shared']:.3f}",
                flush=True,
            )


def date_case(
    years: int, yearly: float, draws: int, *, distances: tuple[float, ...] = (2.0, 5.0, 20.0), seed: int = 2
) -> list[dict[str, float]]:
    """Return what threshold dates give in quarterly levels that fall by half a standard deviation a year."""
    random = np.random.default_rng(seed)
    slope, more = -0.5, 200
    when = (np.arange(4 * (years + more)) + 0.5) / 4.0
    season = np.tile([0.5, 1.0, -0.5, -1.0], years + more)
    values = noise(random, draws, when.size, yearly**0.25) + slope * when + season
    levels = as_levels(values[:, : 4 * years], QUARTER_DAYS)
    wells = wells_of(levels)["well"].tolist()
    limits = [40.0 + slope * (years + distance) for distance in distances]
    thresholds = pd.DataFrame(
        [("S", well, f"T{k}", "lower", limit) for well in wells for k, limit in enumerate(limits)],
        columns=["site", "well", "threshold", "kind", "elevation_m"],
    )
    found = threshold_dates(levels, thresholds)
    rows = []
    for k, distance in enumerate(distances):
        own = found[found["threshold"] == f"T{k}"].reset_index(drop=True)
        told = (own["p"] <= 0.05).to_numpy()
        # season by season the fall goes on, so the lowest quarter is two years ahead of the line
        truths = {
            "": np.full(draws, years + distance),
            "season_": np.full(draws, years + distance - 2.0),
            "level_": when[np.argmax(values <= limits[k] - 40.0, axis=1)],
        }
        row = {"years": years, "yearly": yearly, "distance": distance, "significant": float(told.mean())}
        for name, truth in truths.items():
            first, last = (
                (pd.to_datetime(own[f"{name}{end}"].replace("", None)) - pd.Timestamp("1980-01-01")).dt.days / 365.25
                for end in ("earliest", "latest")
            )
            # a day is lost in the date; an empty end is open
            inside = (first.fillna(-np.inf) <= truth + 0.13) & (last.fillna(np.inf) >= truth - 0.13)
            row[f"held_{name}"] = float(inside[told].mean())
            row[f"width_{name}"] = float((last.fillna(np.inf) - first)[told].median())
        row["open"] = float((own["latest"] == "")[told].mean())
        rows.append(row)
    return rows


def print_dates(draws: int) -> None:
    """Print what threshold dates give."""
    print(
        "dates: years  yearly  distance [a]  significant  held: line, lowest season, first level  widths [a]  open end"
    )
    for years in some((12, 25), draws, 1):
        for yearly in some((0.0, 0.5), draws):
            for row in date_case(years, yearly, draws):
                held = ", ".join(f"{row[f'held_{name}']:6.1%}" for name in ("", "season_", "level_"))
                widths = ", ".join(f"{row[f'width_{name}']:5.1f}" for name in ("", "season_", "level_"))
                print(
                    f"       {years:5}  {yearly:6.2f}  {row['distance']:12.0f}  {row['significant']:11.1%}  {held}  "
                    f"{widths}  {row['open']:6.1%}",
                    flush=True,
                )


def change_case(years: int, yearly: float, draws: int, *, seed: int = 3) -> dict[str, float]:
    """Return what steps and bends give in quarterly levels: a step of 3, a turn of as much up as down."""
    random = np.random.default_rng(seed)
    count = 4 * years
    plain = noise(random, draws, count, yearly**0.25)
    when = np.arange(count) / 4.0
    at = random.integers(years // 3, years - years // 3 + 1, draws)[:, None]
    stepped = plain + 3.0 * (when >= at)
    half = years / 2.0
    turned = plain + 6.0 / half * np.abs(when - half)
    row: dict[str, float] = {}
    for name, values in (("plain", plain), ("step", stepped), ("turn", turned)):
        used, _ = used_levels(as_levels(values, QUARTER_DAYS))
        records = list(well_records(used, 4).values())
        if name != "turn":
            steps = [find_step(record) for record in records]
            row[f"{name}_told"] = float(np.mean([step is not None and step.p <= 0.05 for step in steps]))
        if name == "step":
            pairs = [(step, 1980 + year) for step, year in zip(steps, at[:, 0], strict=True) if step is not None]
            row["held"] = float(np.mean([step.shift[1] <= 3.0 <= step.shift[2] for step, _ in pairs]))
            row["date_held"] = float(np.mean([step.first <= year <= step.last for step, year in pairs]))
            row["width"] = float(np.median([step.shift[2] - step.shift[1] for step, _ in pairs]))
        else:
            bends = [find_bend(record) for record in records]
            row[f"{name}_bent"] = float(np.mean([bend is not None for bend in bends]))
            row[f"{name}_turned"] = float(np.mean([bend is not None and bend.is_turn for bend in bends]))
    return row


def print_changes(draws: int) -> None:
    """Print what steps and bends give."""
    print("steps: years  yearly  false  power   held    date held  width [m]   bends: false  turns false  turns told")
    for years in some((20, 40), draws, 1):
        for yearly in some((0.0, 0.5, 0.8), draws):
            row = change_case(years, yearly, draws)
            print(
                f"       {years:5}  {yearly:6.2f}  {row['plain_told']:5.1%}  {row['step_told']:6.1%}  {row['held']:6.1%}  "
                f"{row['date_held']:9.1%}  {row['width']:9.2f}  {row['plain_bent']:12.1%}  "
                f"{row['plain_turned']:11.1%}  {row['turn_turned']:10.1%}",
                flush=True,
            )


def bend_case(
    years: int, yearly: float, aquifers: int, *, wells: int = 10, common: float = 0.0, seed: int = 6
) -> dict[str, float]:
    """Return how often bends are told in quarterly levels of aquifers: with none, and with a turn of 6 down and up."""
    random = np.random.default_rng(seed)
    turn = 6.0 / (years / 2.0) * np.abs(np.arange(4 * years) / 4.0 - years / 2.0)
    told: dict[str, list[bool]] = {}
    for _ in range(aquifers):
        own, same = noise(random, wells, 4 * years, yearly**0.25), noise(random, 1, 4 * years, yearly**0.25)
        plain = np.sqrt(1.0 - common) * own + np.sqrt(common) * same
        for name, values in (("none", plain), ("turn", plain + turn)):
            levels = as_levels(values, QUARTER_DAYS)
            lines = line_values_of(levels)
            names, weights = memory_weights(lines)
            rows = zip(names, weights[:-1], memory_weights(with_curves(lines))[1][:-1], strict=True)
            memory = {("S", well): SharedMemory("upper", wells - 1, row, curve) for well, row, curve in rows}
            for how, given in (("alone", None), ("shared", memory)):
                records = well_records(used_levels(levels)[0], 4, given).values()
                bends = [find_bend(record) for record in records]
                told.setdefault(f"{name}_bent_{how}", []).extend(bend is not None for bend in bends)
                told.setdefault(f"{name}_turned_{how}", []).extend(bend is not None and bend.is_turn for bend in bends)
    return {name: float(np.mean(each)) for name, each in told.items()}


def print_bends(draws: int) -> None:
    """Print how often bends are told where wells share their memory."""
    print("bends: years  yearly  common  false: alone, shared  turns false: alone, shared  turns told: alone, shared")
    for years in some((20, 40), draws, 1):
        for yearly, common in some(((0.8, 0.5), (0.8, 0.0), (0.5, 0.0), (0.0, 0.0)), draws):
            row = bend_case(years, yearly, max(draws // 10, 1), common=common)
            pairs = [
                f"{row[f'{name}_alone']:7.1%}, {row[f'{name}_shared']:6.1%}"
                for name in ("none_bent", "none_turned", "turn_turned")
            ]
            print(f"       {years:5}  {yearly:6.2f}  {common:6.1f}  {'       '.join(pairs)}", flush=True)


def several_case(years: int, yearly: float, draws: int, *, seed: int = 5) -> dict[str, float]:
    """Return how many steps are found in quarterly levels with none, one, two (up and down again) and a line."""
    random = np.random.default_rng(seed)
    plain = noise(random, draws, 4 * years, yearly**0.25)
    when = np.arange(4 * years) / 4.0
    first = random.integers(years // 4, years // 3 + 1, draws)[:, None]
    second = random.integers(years // 2 + 1, 3 * years // 4 + 1, draws)[:, None]
    cases = {
        "plain": plain,
        "one": plain + 3.0 * (when >= second),
        "two": plain + 3.0 * ((when >= first) & (when < second)),
        "line": plain + 3.0 * when / years,
    }
    row: dict[str, float] = {}
    for name, values in cases.items():
        records = well_records(used_levels(as_levels(values, QUARTER_DAYS))[0], 4).values()
        found = [find_level_changes(record) for record in records]
        counts = np.array([len(each) for each in found])
        row |= {f"{name}_{number}": float((counts == number).mean()) for number in (0, 1, 2)}
        row[f"{name}_more"] = float((counts > 2).mean())
        if name == "two":
            truth = np.column_stack([first, second])[counts == 2] + 1980
            ends = np.array([[(step.first, step.last) for step in each] for each in found if len(each) == 2])
            held = (ends[..., 0] <= truth) & (ends[..., 1] >= truth) if len(ends) else np.zeros((0, 2))
            row["dates_held"] = float(held.mean()) if held.size else float("nan")
    return row


def print_several(draws: int) -> None:
    """Print how many steps are found."""
    print("changes: years  yearly  none: false  one: found, more  two: found, more  dates held  line: steps")
    for years in some((10, 20, 40), draws, 1):
        for yearly in some((0.0, 0.5, 0.8), draws):
            row = several_case(years, yearly, draws)
            print(
                f"         {years:5}  {yearly:6.2f}  {1.0 - row['plain_0']:11.1%}  {row['one_1']:6.1%}, "
                f"{row['one_2'] + row['one_more']:5.1%}     {row['two_2']:6.1%}, {row['two_more']:5.1%}     "
                f"{row['dates_held']:9.1%}  {1.0 - row['line_0']:10.1%}",
                flush=True,
            )


def main(words: list[str]) -> None:
    """Print what was asked for."""
    draws = next((int(word) for word in words if word.isdigit()), 1000)
    parts = {
        "trends": print_trends,
        "sharing": print_sharing,
        "dates": print_dates,
        "steps": print_changes,
        "bends": print_bends,
        "changes": print_several,
    }
    for name in [word for word in words if word in parts] or list(parts):
        parts[name](draws)


if __name__ == "__main__":
    main(sys.argv[1:])
