"""Whether findings are worth reading, by a criterion that looks at the levels alone and knows no limit of the checks.

Run: ``python tests/bench/label_findings.py SEED`` writes `finding_sample.csv`: all findings of the multilevel wells and so
many of the aquifer, drawn by the seed, that both are 200. It holds a key of well and time, and the label; no level.

A finding of levels is worth reading when one of its levels is. Around a level lie up to five levels of its well before
and five after, within three years. Expected is their straight line of medians of slopes (Theil and Sen); scatter is
1.4826 times the median absolute residual about it, at least 0.1 ft. A level is worth reading when

- alone: it is off the line by more than four times the scatter, by more than twice as much as all but one of the levels
  around, and by more than nine in ten of the levels of the same well in the same season of other years; or
- slip: it is off by more than three times the scatter, and one unit or ten more or less, two digits exchanged, a moved
  decimal point or another sign brings it within twice the scatter of the line and a tenth of what it was off; or
- step: the medians of the three levels from it on and of the three before differ by more than four times the scatter
  within both, and by more than half as much as any two successive ones of the five before or after; or
- contradiction: the depth is below the bottom of the well, or the level is above the ground by more than 3 ft.

A well that stands apart is worth reading when its median is more than 20 ft outside the range of the medians of the six
nearest other wells. Any other finding of a well or a round states a fact, and is worth reading.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_findings import Case, events_of, key_of, open_cases

from gwnet.analysis.checks import places
from gwnet.hydro.checks import alternatives

SAMPLE = Path(__file__).parent / "finding_sample.csv"
COUNT = 200
FOOT_M = 0.3048
MOST_AWAY_D, SIDE = 1096.0, 5


class Judge:
    """Judges the findings of one record."""

    def __init__(self, case: Case) -> None:
        events = case.events
        self.events = events
        self.level = events.read_level_m
        self.has = np.flatnonzero(np.isfinite(self.level))
        self.place = {int(event): place for place, event in enumerate(events.frame["event_id"])}
        self.ground = events.reduced.ground_elevation_m[events.order]
        self.bottom = self.ground - events.of_well("total_depth_m")
        self.off_m: dict[int, float] = {}

    def is_worth_reading(self, row) -> bool:
        """Return whether a finding is worth reading."""
        if row.rule == places.APART:
            return self._stands_apart(row.well)
        return any(self._is_worth(self.place[event]) for event in events_of(row)) if events_of(row) else True

    def _around(self, place: int) -> np.ndarray:
        time, well = self.events.time_d, self.events.well
        own = self.has[(well[self.has] == well[place]) & (np.abs(time[self.has] - time[place]) <= MOST_AWAY_D)]
        return np.concatenate([own[own < place][-SIDE:], own[own > place][:SIDE]])

    def _line(self, place: int):
        """Return what is around a level, its residuals, the scatter, and how far the level is off; None for too few."""
        around = self._around(place)
        if around.size < 4:
            return None
        time, level = self.events.time_d[around] - self.events.time_d[place], self.level[around]
        first, second = np.triu_indices(around.size, 1)
        apart = time[second] > time[first]
        slope = np.median(((level[second] - level[first])[apart]) / (time[second] - time[first])[apart])
        middle = np.median(level - slope * time)
        residual = level - slope * time - middle
        scatter = max(1.4826 * float(np.median(np.abs(residual))), 0.1 * FOOT_M)
        return around, residual, scatter, float(self.level[place] - middle)

    def _off(self, place: int) -> float:
        if place not in self.off_m:
            line = self._line(place)
            self.off_m[place] = np.nan if line is None else abs(line[3])
        return self.off_m[place]

    def _is_worth(self, place: int) -> bool:
        level = self.level[place]
        if level < self.bottom[place] - 0.15 or level > self.ground[place] + 3.0 * FOOT_M:
            return True
        line = self._line(place)
        if line is None:
            return False
        around, residual, scatter, off = line
        return (
            self._is_alone(place, residual, scatter, off)
            or self._is_slip(place, scatter, off)
            or self._is_step(place, around)
        )

    def _is_alone(self, place: int, residual: np.ndarray, scatter: float, off: float) -> bool:
        if abs(off) <= 4.0 * scatter or abs(off) <= 2.0 * np.sort(np.abs(residual))[-2]:
            return False
        time, well = self.events.time_d, self.events.well
        own = self.has[(well[self.has] == well[place]) & (np.abs(time[self.has] - time[place]) > 300.0)]
        from_date = np.abs((time[own] - time[place] + 182.6) % 365.25 - 182.6)
        others = np.array([self._off(int(other)) for other in own[from_date <= 30.0][:200]])
        others = others[np.isfinite(others)]
        return others.size < 5 or abs(off) > np.quantile(others, 0.9)

    def _is_slip(self, place: int, scatter: float, off: float) -> bool:
        booked = self.events.booked
        value, metres = booked.value[place], booked.metres[place] * booked.sense[place]
        if abs(off) <= 3.0 * scatter or not np.isfinite(value):
            return False
        unit = FOOT_M if abs(booked.metres[place] - FOOT_M) < 1e-5 else 1.0
        digits = alternatives.exchanged_digits([value], [booked.decimals[place]])[0] * metres
        moved = [unit, -unit, 10.0 * unit, -10.0 * unit, 9.0 * value * metres, -0.9 * value * metres]
        shifts = np.array([*moved, -2.0 * value * metres, *digits[np.isfinite(digits)]])
        return bool((np.abs(off + shifts) <= min(2.0 * scatter, 0.1 * abs(off))).any())

    def _is_step(self, place: int, around: np.ndarray) -> bool:
        before, after = around[around < place], np.concatenate([[place], around[around > place]])
        if before.size < 3 or after.size < 3:
            return False
        old, new = self.level[before[-3:]], self.level[after[:3]]
        scatter = 1.4826 * np.median(np.abs(np.concatenate([old - np.median(old), new - np.median(new)])))
        step = abs(np.median(new) - np.median(old))
        usual = max(np.abs(np.diff(self.level[side])).max() for side in (before, after))
        return bool(step > 4.0 * max(scatter, 0.1 * FOOT_M) and usual < 2.0 * step and step > usual * 0.5)

    def _stands_apart(self, code: str) -> bool:
        medians = {
            well: np.median(self.level[self.has[self.events.well[self.has] == well]])
            for well in np.unique(self.events.well[self.has]).tolist()
        }
        own = int(self.events.well[self.events.codes == code][0])
        place = self.events.wells[["easting", "northing"]].to_numpy(dtype=float)
        others = sorted((other for other in medians if other != own), key=lambda o: np.hypot(*(place[o] - place[own])))
        beside = [medians[other] for other in others[:6]]
        return bool(medians[own] > max(beside) + 20.0 * FOOT_M or medians[own] < min(beside) - 20.0 * FOOT_M)


def main(arguments) -> None:
    """Draw, label and write the sample."""
    random = np.random.default_rng(int(arguments[0]))
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for case in reversed(open_cases(Path(folder), ("aquifer", "multilevel"))):
            judge, count = Judge(case), min(COUNT - len(rows), len(case.before))
            for place in np.sort(random.permutation(len(case.before))[:count]):
                row = case.before.iloc[place]
                rows.append((case.name, key_of(case.name, row), "yes" if judge.is_worth_reading(row) else "no"))
    with SAMPLE.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([("record", "key", "worth_reading"), *rows])
    for name in dict.fromkeys(name for name, *_ in rows):
        labels = [label == "yes" for record, _, label in rows if record == name]
        print(f"{name}: {sum(labels)} of {len(labels)} worth reading")


if __name__ == "__main__":
    main(sys.argv[1:])
