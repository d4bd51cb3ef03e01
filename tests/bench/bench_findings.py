"""How many injected faults the checks find, how often they are wrong, and how many findings are worth reading.

Run: ``python tests/bench/bench_findings.py [FAULTS [SEED]]``

Faults are injected into gathered levels, never into a database: of the demo network (`demo_network/`, built afresh) and,
where the open data lies beside the checkout or in the folder that ``GWNET_OPEN_DATA`` names, of the eastern Snake River
Plain aquifer. Kinds, of which the first four are gross:

- other unit: the number was read in feet and booked as metres, or the other way round;
- sign: the number was booked negative;
- tenfold: the decimal point was moved by one place;
- one metre or foot: the number is out by exactly one of the unit in which it was booked;
- digits exchanged: two neighbouring digits of the number as written change places;
- survey step: from a date on a new measuring point is in force whose elevation is one foot wrong; that it does not
  fit the ground on record is not counted, which would find every one;
- stretched tape: from a date on half of the wells are read with another tape that reads 0.5 % short.

For the last two, changes with nothing wrong are made as well: how often they are reported is a rate of false alarms.

``noticed`` counts faults of which any new warning or serious finding reports the event (or the well, or the change of
tape); ``named`` those whose kind the finding names.

Findings worth reading: of the demo network, those of a fault, a fact or a change that its story planted. Of the aquifer,
those that `finding_labels.csv` calls worth reading: 200 findings were drawn, 100 each before and after the checks were
rewritten, and labelled by eye from the five levels before and after without regard to limits: worth reading is a level
(or several) that stands out alone by clearly more than the scatter of those around, or a step that lasts; not so a turn
of a smooth curve, a restless well, what the season does every year, the first levels of a new well, a level beside a wrong
one, or a level with years on either side. Findings of other wells and days are not counted.

The fresh sample, `finding_sample.csv`, was drawn with a fixed seed (20261128) from the findings of the aquifer and of
its multilevel wells and labelled by the criterion that `label_findings.py` states and works out: labels come from a
written criterion that knows the levels alone, and not from somebody who knows the wells. The criterion is generous, as
20 % of all levels meet it (1.3 % without that for steps). Limits were chosen with its shares of all findings in sight,
so neither the sample nor the share of all is independent of them, nor the labels by eye, which were looked at as well.

Measured before and after misfits of about one unit were reported by their form and restless wells had one finding:
gross faults of the aquifer 87.3 % and 90.5 % (of one foot 49 % and 62 % of 300, of the others all of 60 each), of the
demo 98.3 % and 97.1 % (480 faults, not the same draw; no significant difference); steps at a survey of the aquifer 57 %
and 45 % of 60 (no significant difference); findings 418 and 373; warnings per 100 levels 0.67 and 0.57, levels that they
concern 0.77 and 0.98; worth reading by the criterion 64.6 % and 73.5 % of all findings, 54.5 % and 72.5 % of 200 drawn,
61.7 % and 57.0 % of the warned levels; by eye 54 of 83 and 45 of 62. The aim of 97 % of gross faults is missed by 6.5
points, as one foot lies within the movement of a quarter of the wells: see `bench_detection.py`.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import sys
import tempfile
import time
import tomllib
from collections import defaultdict
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from gwnet import demo  # noqa: E402
from gwnet.analysis.checks import places, series, steps  # noqa: E402
from gwnet.analysis.checks.events import Events  # noqa: E402
from gwnet.analysis.checks.limits import limits_of  # noqa: E402
from gwnet.analysis.checks.quality import run_checks, tabulate  # noqa: E402
from gwnet.analysis.checks.rules import CHECKS  # noqa: E402
from gwnet.analysis.levels.inputs import gather  # noqa: E402
from gwnet.analysis.levels.reduce import reduce_levels  # noqa: E402
from gwnet.network import Network, init  # noqa: E402
from gwnet.store.fetch import programme as fetch_programme  # noqa: E402
from gwnet.store.fetch import registry as fetch  # noqa: E402
from gwnet.store.snapshot import Snapshot  # noqa: E402

FOOT_M = 0.3048
STRETCH = 0.005
KINDS = {
    "other unit": (series.UNIT,),
    "sign": (series.SIGN,),
    "tenfold": (getattr(series, "DECIMAL", ""),),
    "one metre or foot": (series.AMOUNT,),
    "digits exchanged": (series.DIGITS,),
    "survey step": (steps.AT_POINT,),
    "stretched tape": (steps.WITH_TAPE,),
}
GROSS = tuple(KINDS)[:4]
READING_KINDS = tuple(KINDS)[:5]
#: Wells that get a fault at once, few enough that most of what is around a level stays right.
AT_ONCE = {"demo": 3, "aquifer": 60, "multilevel": 5}
#: Faults of the demo's own story, and what is true of it without being a fault.
FACTS = ("water below the screen", "beyond the tape check", "silting", "water above ground", "tape check overdue")
FACTS += ("outside the round's window", "no reading and no reason")


def events_of(row):
    """Return the events that a finding concerns."""
    several = json.loads(row.limits).get("event_ids")
    return several or ([] if np.isnan(row.event_id) else [int(row.event_id)])


class Case:
    """The levels of one record, checked as often as wanted."""

    def __init__(self, name, network, at_once):
        self.name, self.at_once = name, at_once
        with network.store.reading() as connection:
            self.settings = fetch.choose_site(fetch.sites(connection), None)
            self.rounds = fetch_programme.rounds(connection, None, str(self.settings["site"]))
            self.inputs = gather(Snapshot(connection))
        self.limits = limits_of(self.settings)[0]
        started = time.perf_counter()
        self.before = self.findings(self.inputs)
        self.seconds = time.perf_counter() - started
        self.known = {key for row in self.before.itertuples() for key in self.keys(row)}
        self.events = self.events_of(self.inputs)
        sound = np.flatnonzero(self.events.sound)
        told = {event for row in self.before.itertuples() for event in events_of(row)}
        ids = self.events.frame["event_id"].to_numpy()
        self.sound = sound[[int(ids[place]) not in told for place in sound]]

    def events_of(self, inputs):
        return Events(inputs, reduce_levels(inputs), self.settings, self.limits, self.rounds)

    def findings(self, inputs, rule=None):
        """Return the findings of every check, or of the check of one rule."""
        events = self.events_of(inputs)
        asked = [check for check in CHECKS if check.rule == rule]
        return tabulate(
            events, [found for check in asked for found in check.run(events)] if rule else run_checks(events)
        )

    def new(self, inputs, rule=None):
        """Return findings that say something of an event or well that was not said before."""
        found = self.findings(inputs, rule)
        if found.empty:
            return found
        return found[[not self.keys(row) <= self.known for row in found.itertuples()]]

    @staticmethod
    def keys(row):
        """Return what a finding says: its rule, of each event, or of its well."""
        return {(event, "", row.rule) for event in events_of(row)} or {(-1, row.well, row.rule)}


def with_readings(inputs, changed):
    """Return inputs with other first readings: {position in records: new number in the reading's own unit}."""
    readings = inputs.readings.copy()
    depth, below = inputs.depth_to_water_m.copy(), inputs.depth_below_ground_m.copy()
    records = inputs.records["record_id"].to_numpy()
    for place, (factor_and_shift, digits) in changed.items():
        rows = readings["record_id"] == records[place]
        rows &= readings["quantity"].isin(["depth_to_water", "depth_below_ground"])
        for row in readings.index[rows]:
            value = factor_and_shift(float(readings.at[row, "value"]))
            readings.at[row, "written"] = f"{value:.{digits}f}"
            readings.at[row, "value"] = float(readings.at[row, "written"])
            metres = readings.at[row, "value"] * {"m": 1.0, "cm": 0.01, "ft": FOOT_M}[readings.at[row, "unit"]]
            if readings.at[row, "quantity"] == "depth_to_water":
                depth[place, readings.at[row, "ordinal"] - 1] = metres
            else:
                below[place] = metres
    return replace(inputs, readings=readings, depth_to_water_m=depth, depth_below_ground_m=below)


def fault(kind, value, unit, digits, random):
    """Return what becomes of a number and its repeats, and the shift in metres; None where the kind cannot be had."""
    metres = {"m": 1.0, "cm": 0.01, "ft": FOOT_M}[unit]
    if kind == "other unit":
        factor = FOOT_M if unit == "ft" else 1.0 / FOOT_M
        return (lambda number: number * factor), (factor - 1.0) * value * metres
    if kind == "sign":
        return (lambda number: -number), -2.0 * value * metres
    if kind == "tenfold":
        factor = float(random.choice([0.1, 10.0]))
        return (lambda number: number * factor), (factor - 1.0) * value * metres
    if kind == "one metre or foot":
        shift = float(random.choice([-1.0, 1.0])) * (1.0 if unit == "ft" else 1.0 / metres)
        return (lambda number: number + shift), shift * metres
    text = f"{abs(value):.{digits}f}"
    digit = [n for n in range(len(text)) if text[n] != "."]
    swaps = [(a, b) for a, b in pairwise(digit) if text[a] != text[b]]
    if not swaps or value <= 0:
        return None
    a, b = swaps[random.integers(len(swaps))]
    signs = list(text)
    signs[a], signs[b] = signs[b], signs[a]
    shift = float("".join(signs)) - float(text)
    return (lambda number: number + shift), shift * metres


def inject_readings(case, wanted, random):
    """Inject faults of single readings, few at a time and never two in one well; return outcomes."""
    booked = case.events.booked
    usable = case.sound[np.isin(booked.quantity[case.sound], ["depth_to_water", "depth_below_ground"])]
    queue = [kind for kind, count in wanted.items() for _ in range(count)]
    random.shuffle(queue)
    outcomes, others, runs = [], 0, 0
    while queue:
        changed, told, wells = {}, [], set()
        for place in random.permutation(usable):
            if len(told) == case.at_once or not queue:
                break
            well, value, digits = int(case.events.well[place]), booked.value[place], int(booked.decimals[place])
            made = None if well in wells else fault(queue[-1], value, booked.unit[place], digits, random)
            if made is None:
                continue
            kind = queue.pop()
            wells.add(well)
            changed[int(case.events.order[place])] = (made[0], digits)
            told.append((kind, int(case.events.frame["event_id"].iat[place]), made[1]))
        new = case.new(with_readings(case.inputs, changed))
        by_event = defaultdict(set)
        for row in new[new["severity"] != "note"].itertuples():
            for event in events_of(row):
                # of a finding that a level joined, those that were in it before are not new
                if (event, "", row.rule) not in case.known:
                    by_event[event].add(row.rule)
        for kind, event, shift in told:
            rules = by_event.pop(event, set())
            outcomes.append((kind, abs(shift), bool(rules), bool(rules & set(KINDS[kind]))))
        others += sum(len(rules) for rules in by_event.values())
        runs += 1
    return outcomes, others / max(len(outcomes), 1)


def inject_survey(case, count, random, error_m=FOOT_M):
    """Inject wrong surveys, one at a time in a well; return outcomes."""
    outcomes = []
    while len(outcomes) < count:
        points, told, wells = case.inputs.measuring_points.copy(), [], set()
        for place in random.permutation(case.sound):
            if len(told) == min(case.at_once, count - len(outcomes)):
                break
            well = int(case.events.well[place])
            own = np.flatnonzero((case.events.well == well) & case.events.sound)
            number = int(np.searchsorted(own, place))
            point = int(case.events.point[place])
            access = case.events["access"]
            if well in wells or number < 8 or number > own.size - 3 or point < 0:
                continue
            if case.events.point[own[number - 1]] != point or len(set(access[own])) > 1:
                continue
            wells.add(well)
            moment = case.events.frame["measured_at_utc"].iat[place]
            row = points.iloc[point].copy()
            points.loc[points.index[point], "valid_until_utc"] = moment
            row["elevation_m"] += float(random.choice([-1.0, 1.0])) * error_m
            row["valid_from_utc"], row["measuring_point_id"] = moment, -1
            points = pd.concat([points, row.to_frame().T.astype(points.dtypes)], ignore_index=True)
            told.append((case.events.codes[place], int(case.events.frame["event_id"].iat[place])))
        new = case.new(replace(case.inputs, measuring_points=points))
        for well, event in told:
            at_event = set(new.loc[new["event_id"] == event, "rule"])
            at_well = set(new.loc[(new["well"] == well) & new["event_id"].isna(), "rule"]) - {places.GROUND}
            named = bool(at_event & set(KINDS["survey step"]))
            outcomes.append(("survey step", error_m, bool(at_event | at_well), named))
    return outcomes


def inject_tape(case, count, random, stretch=STRETCH):
    """Inject a stretched tape, one change at a time; return outcomes."""
    outcomes = []
    codes = np.unique(case.events.well)
    days = np.unique(case.events.day[case.sound])
    tapes = pd.DataFrame({"instrument_id": [900001, 900002], "instrument": ["T-1", "T-2"], "kind": "electric tape"})
    instruments = pd.concat([case.inputs.instruments, tapes], ignore_index=True)
    for _ in range(count):
        part = random.permutation(codes)[: codes.size // 2]
        since = days[random.integers(days.size // 5, days.size * 4 // 5)]
        stretched = np.isin(case.events.well, part) & (case.events.day >= since)
        place = case.events.order
        new_tape = np.full(len(case.events), 900001.0)
        new_tape[stretched] = 900002.0
        records = case.inputs.records.copy()
        ids, names = records["instrument_id"].to_numpy(copy=True), records["instrument"].to_numpy(copy=True)
        ids[place], names[place] = new_tape, np.where(stretched, "T-2", "T-1")
        records["instrument_id"], records["instrument"] = ids, names
        depth, below = case.inputs.depth_to_water_m.copy(), case.inputs.depth_below_ground_m.copy()
        depth[place[stretched]] *= 1.0 - stretch
        below[place[stretched]] *= 1.0 - stretch
        found = case.new(
            replace(
                case.inputs,
                records=records,
                instruments=instruments,
                tape_checks=case.inputs.tape_checks.iloc[:0],
                depth_to_water_m=depth,
                depth_below_ground_m=below,
            ),
            steps.WITH_TAPE,
        )
        named = len(found) > 0
        outcomes.append(("stretched tape", np.nan, named, named))
    return outcomes


def _days(table):
    """Return well and day of each row."""
    return list(zip(table["well"], table["measured_at"].str[:10], strict=True))


def planted_in_demo(case):
    """Return well and day of what the demo's own story did wrong."""
    truths = tomllib.loads((ROOT / "demo_network" / "EXPECTED.toml").read_text(encoding="utf-8"))
    names = ("fault", "disagreement", "unusable", "product_without_density")
    made = {(truth["well"], truth["measured_at"][:10]) for name in names for truth in truths[name]}
    return made | set(_days(case.events.frame[case.events.frame["instrument"] == "E-4"]))


def show(case, outcomes, others, planted, nothing):
    table = pd.DataFrame(outcomes, columns=["kind", "shift_m", "noticed", "named"])
    print(f"\n{case.name}: {len(case.events):,} levels, {case.seconds:.1f} s for all checks")
    print(f"  {'kind':<18}{'faults':>7}{'noticed':>9}{'named':>8}   of those of 5 cm or more: noticed, named")
    for kind in KINDS:
        rows = table[table["kind"] == kind]
        large = rows[rows["shift_m"].isna() | (rows["shift_m"] >= 0.05)]
        if len(rows):
            print(
                f"  {kind:<18}{len(rows):>7}{rows['noticed'].mean():>9.1%}{rows['named'].mean():>8.1%}   "
                f"{len(large):>5} {large['noticed'].mean():>8.1%}{large['named'].mean():>8.1%}"
            )
    checked = int(case.events.checked.sum())
    is_planted = np.array([key in planted for key in _days(case.before)], dtype=bool)
    counted = case.before[~case.before["rule"].isin(FACTS) & ~is_planted]
    gross = table[table["kind"].isin(GROSS)]
    print(f"  gross faults       {len(gross):>6}{gross['noticed'].mean():>9.1%}{gross['named'].mean():>8.1%}")
    for severity in ("serious", "warning", "note"):
        number = int((counted["severity"] == severity).sum())
        print(f"  before any injection: {number:,} {severity} findings, {number / checked:.2%} of {checked:,} levels")
    print(
        f"  a new measuring point with nothing wrong: {nothing[0]:.0%} told; another tape, as good: {nothing[1]:.0%} told"
    )
    print(f"  findings on other, sound levels: {others:.2f} for each fault of a reading")
    sampled, drawn = count_in_sample(case)
    if drawn:
        print(f"  of the fresh sample still found: worth reading {sampled} of {drawn}, {sampled / drawn:.0%}")
    worth, known = count_worth_reading(case, planted)
    told = counted[counted["severity"] != "note"]
    warned = {event for row in told.itertuples() for event in events_of(row)}
    print(f"  ... that concern {len(warned):,} levels with a warning or worse, {len(warned) / checked:.2%}")
    print(
        f"  findings: {len(case.before):,}; worth reading {worth} of {known} that are labelled, {worth / max(known, 1):.0%}"
    )


def count_worth_reading(case, planted):
    """Return how many findings of a record as it is are worth reading, and of how many that is known."""
    rows = case.before[case.before["event_id"].notna()]
    if planted:
        known = [bool(row.rule in FACTS or (row.well, row.measured_at[:10]) in planted) for row in rows.itertuples()]
        return sum(known), len(known)
    with (Path(__file__).parent / "finding_labels.csv").open(encoding="utf-8", newline="") as file:
        labels = {(row["well"], row["day"]): row["worth_reading"] == "yes" for row in csv.DictReader(file)}
    known = [labels[key] for key in _days(rows) if key in labels]
    return sum(known), len(known)


def key_of(record, row):
    """Return what a finding of the fresh sample is known by: a digest of record, well and time."""
    text = f"{record}|{row.well}|{row.measured_at}"
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def count_in_sample(case):
    """Return how many findings of a record that are in the fresh sample are worth reading, and how many are in it."""
    with (Path(__file__).parent / "finding_sample.csv").open(encoding="utf-8", newline="") as file:
        labels = {
            row["key"]: row["worth_reading"] == "yes" for row in csv.DictReader(file) if row["record"] == case.name
        }
    keys = {key_of(case.name, row) for row in case.before.itertuples()}
    return sum(labels[key] for key in keys & set(labels)), len(keys & set(labels))


def open_cases(folder, names):
    """Return the records by name, loaded afresh into a folder: demo, aquifer, multilevel; those whose data is there."""
    sys.path.insert(0, str(ROOT / "tests" / "real"))
    import convert_esrp
    import convert_multilevel

    data = Path(os.environ.get("GWNET_OPEN_DATA", ROOT.parent / "shared" / "open-data"))
    sources = {"aquifer": ("esrp", convert_esrp), "multilevel": ("esrp_multilevel", convert_multilevel)}
    cases = []
    for name in names:
        path = folder / f"{name}.sqlite"
        if name == "demo":
            demo.load(path)
        else:
            source, module = sources[name]
            if not (data / source).is_dir():
                continue
            module.convert(data / source, folder / name)
            init(path)
            with Network(path) as network:
                network.load([folder / name], by="bench")
        with Network(path) as network:
            cases.append(Case(name, network, AT_ONCE[name]))
    return cases


def main(arguments):
    total = int(arguments[0]) if arguments else 1000
    random = np.random.default_rng(int(arguments[1]) if len(arguments) > 1 else 20260217)
    with tempfile.TemporaryDirectory() as folder:
        cases = open_cases(Path(folder), ("demo", "aquifer"))
        share = total // len(cases)
        for case in cases:
            tapes = max(share // 10, 4)
            surveys = share // 6
            each = (share - tapes - surveys) // len(READING_KINDS)
            outcomes, others = inject_readings(case, dict.fromkeys(READING_KINDS, each), random)
            outcomes += inject_survey(case, surveys, random)
            outcomes += inject_tape(case, tapes, random)
            right = (inject_survey(case, surveys, random, 0.0), inject_tape(case, tapes, random, 0.0))
            nothing = [np.mean([named for *_, named in one]) for one in right]
            show(case, outcomes, others, planted_in_demo(case) if case.name == "demo" else set(), nothing)


if __name__ == "__main__":
    main(sys.argv[1:])
