"""What the crews booked: each level event from the true head down to the reading on the tape."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any

from making import story
from making.physics import ZONE, Pump, Valley, days, interpolate, normal, pump, whole

Table = tuple[list[float], list[float]]


def metres(value: float, decimals: int = 3) -> Decimal:
    """Return a length as it is written."""
    return Decimal(f"{round(value, decimals) + 0.0:.{decimals}f}")


_READINGS = ("depth_to_water", "depth_to_water_2", "depth_to_water_3")


def _exchanged(value: Decimal) -> Decimal:
    """Return a number with its first two decimals exchanged."""
    whole_part, decimals = str(value).split(".")
    return Decimal(f"{whole_part}.{decimals[1]}{decimals[0]}{decimals[2:]}")


@dataclass
class Event:
    """One level event: what is written, and the truth behind it.

    ``row`` holds the cells by column. ``truth_m`` is the water elevation that a faultless reduction gives (for a dry
    well the true head, which the reading cannot tell); None where no number was read.
    """

    well: str
    access: str
    round: str
    moment: dt.datetime
    timed: bool
    status: str
    row: dict[str, Any]
    truth_m: float | None = None
    interface_m: float | None = None
    correction_m: float = 0.0
    tags: set[str] = field(default_factory=set)
    bound_m: float | None = None
    sounded_m: float | None = None
    tolerance_m: float = 0.003

    @property
    def measured_at(self) -> str:
        """Local wall-clock time, or the date alone."""
        return self.moment.strftime("%Y-%m-%dT%H:%M" if self.timed else "%Y-%m-%d")

    @property
    def usable(self) -> bool:
        """Whether the level may enter maps and trends."""
        spoilt = {"no density", "repeats disagree", "in the sump", "overflow"}
        return (
            self.truth_m is not None
            and self.status in ("static", "flowing")
            and self.row.get("quality") not in ("suspect", "poor")
            and not spoilt & self.tags
        )


class Record:
    """The whole record of the demo network."""

    @cached_property
    def schedule(self) -> dict[tuple[str, str], dt.datetime]:
        """When each well is read in each round, by well and round."""
        made = {}
        for item in story.ROUNDS:
            for crew, route in (("A", story.ROUTE_A), ("B", story.ROUTE_B)):
                split = item.last != item.first and item != story.LAST_ROUND
                day = item.last if crew == "B" and split else item.first
                clock = dt.datetime(day.year, day.month, day.day, 8, 5, tzinfo=ZONE)
                clock += dt.timedelta(minutes=whole(0, 14, "start", crew, item.code))
                for code in route:
                    made[self._well_then(code, day), item.code] = clock
                    clock += dt.timedelta(minutes=whole(15, 24, "walk", code, item.code))
        for (code, item_code), special in story.SPECIAL.items():
            if "at" in special:
                made[code, item_code] = dt.datetime.fromisoformat(special["at"]).replace(tzinfo=ZONE)
        return made

    @staticmethod
    def _well_then(code: str, day: dt.date) -> str:
        well = story.BY_CODE[code]
        gone = well.decommissioned_on and day.isoformat() >= well.decommissioned_on
        return well.replaced_by if gone else code

    @cached_property
    def supply(self) -> Pump:
        """The supply well with its stops."""
        off = []
        for item in story.ROUNDS:
            read = self.schedule["P-1", item.code]
            if item.code in story.PUMP_OFF_BEFORE:
                off.append((days(read - dt.timedelta(days=2)), days(read + dt.timedelta(hours=4))))
            elif item.code in story.PUMP_OFF_SHORT:
                since = dt.timedelta(minutes=story.PUMP_OFF_SHORT[item.code])
                off.append((days(read - since), days(read + dt.timedelta(hours=2))))
        well = story.BY_CODE["P-1"]
        return pump(well.s, well.d, off)

    @cached_property
    def valley(self) -> Valley:
        """The true heads."""
        return Valley(self.supply)

    @cached_property
    def tape_errors(self) -> dict[str, list[tuple[str, Table]]]:
        """By instrument: day of each check with the depths on the reference tape and on the tape."""
        made: dict[str, list[tuple[str, Table]]] = {}
        lives = {"E-1": (2018, 2026), "E-2": (2018, 2021), "E-3": (2023, 2026), "IP-1": (2020, 2026)}
        for code, (first, last) in lives.items():
            made[code] = []
            for year in range(first, last + 1):
                if (code, year) in story.CHECKS_FORGOTTEN:
                    continue
                day = dt.date(year, 1, 15) + dt.timedelta(days=whole(0, 4, "check", code, year))
                tape = [
                    round(depth + 0.001 * whole(-1, 1, "tape", code, year, depth), 3) for depth in story.CHECK_DEPTHS
                ]
                made[code].append((day.isoformat(), (list(story.CHECK_DEPTHS), tape)))
        for day_text, share in story.STRETCH:
            tape = [round(depth * (1.0 - share), 3) for depth in story.CHECK_DEPTHS]
            made["E-2"].append((day_text, (list(story.CHECK_DEPTHS), tape)))
        return made

    def on_tape(self, instrument: str, day: str, depth: float) -> float:
        """Return what a tape reads at a true depth: depth and its error, as the last check found it."""
        known = [table for since, table in self.tape_errors.get(instrument, []) if since <= day]
        if not known:
            return depth
        reference, tape = known[-1]
        return depth + interpolate(depth, reference, [t - r for r, t in zip(reference, tape, strict=True)])

    @cached_property
    def events(self) -> list[Event]:
        """Every level event, in the order of rounds and times."""
        made = []
        for item in story.ROUNDS:
            there = [(moment, code) for (code, of_round), moment in self.schedule.items() if of_round == item.code]
            for moment, code in sorted(there):
                special = story.SPECIAL.get((code, item.code), {})
                if not special.get("missing"):
                    made.append(self._event(code, item.code, moment, special))
        for code, text, status, notes in story.EXTRA:
            moment = dt.datetime.fromisoformat(text).replace(tzinfo=ZONE)
            made.append(self._event(code, "", moment, {"status": status, "notes": notes}))
        for (code, item_code), special in story.SPECIAL.items():
            if "fault" in special:
                self._spoil(made, code, item_code, special["fault"])
        return sorted(made, key=lambda event: (event.moment, event.well))

    def _spoil(self, events: list[Event], code: str, round_code: str, fault: str) -> None:
        """Book what was not read: a fault that nothing on the sheet tells."""
        there = {(event.well, event.round): event for event in events}
        event = there[code, round_code]
        event.tags |= {"fault", fault}
        columns = [name for name in _READINGS if name in event.row]
        if fault == "read in feet":
            more = metres(float(event.row["depth_to_water"]) / 0.3048 - float(event.row["depth_to_water"]))
            event.row |= {name: event.row[name] + more for name in columns}
        elif fault == "digits exchanged":
            event.row |= {name: _exchanged(event.row[name]) for name in columns}
        elif fault == "read from the old rim":
            old = next(point for point in story.POINTS if point.well == code and point.valid_until)
            step = old.elevation - self._point(event).elevation
            event.row |= {name: metres(float(event.row[name]) + step) for name in columns}
        elif fault == "exchanged with N2-L":
            other = there["N2-L", round_code]
            other.tags |= {"fault", "exchanged with N2-U"}
            mine, theirs = ({name: one.row.pop(name, "") for name in _READINGS} for one in (event, other))
            event.row |= theirs
            other.row |= mine
        elif fault in ("last readings again", "readings of L-03"):
            codes = [item.code for item in story.ROUNDS]
            before = codes[codes.index(round_code) - 1]
            source = there[("L-03", round_code) if "L-03" in fault else (code, before)]
            event.row |= {name: source.row.get(name, "") for name in _READINGS}

    def true_head(self, code: str, moment: dt.datetime, key: str) -> float:
        """Return the head in a well, with a few millimetres of the day's air pressure."""
        well = story.BY_CODE[code]
        t = days(moment)
        head = self.valley.head(well.aquifer, well.s, well.d, t)
        if code == "P-1":
            head -= 1200.0 * self.supply.rate(t) ** 2
        spread = 0.005 if well.aquifer == "upper" else 0.009
        return head + spread * max(-2.0, min(2.0, normal("air", code, key)))

    def _event(self, code: str, round_code: str, moment: dt.datetime, special: dict[str, Any]) -> Event:
        day = moment.date().isoformat()
        key = round_code or day
        access = "dip tube" if code == "P-1" else "main"
        row: dict[str, Any] = {"site": story.SITE, "well": code, "round": round_code, "access": access}
        row["notes"] = special.get("notes", "")
        timed = not special.get("no_time")
        row["date"], row["time"] = moment.date(), moment.strftime("%H:%M") if timed else ""
        row["observer"] = self._observer(code, day)
        event = Event(code, access, round_code, moment, timed, "static", row)
        event.truth_m = self.true_head(code, moment, key) + special.get("offset", 0.0)
        self._set_status(event, special)
        self._set_instrument(event, special, day)
        if event.truth_m is not None and event.status != "dry":
            self._read(event, special, day, key)
        self._sound(event, day, key)
        row["status"] = event.status
        return event

    @staticmethod
    def _observer(code: str, day: str) -> str:
        if code in story.ROUTE_A or code == "W-06R":
            return story.CREW_A
        return next(name for until, name in story.CREW_B if day < until)

    def _set_status(self, event: Event, special: dict[str, Any]) -> None:
        well = story.BY_CODE[event.well]
        assert event.truth_m is not None
        event.status = special.get("status", "static")
        if event.status in ("no access", "frozen", "not found", "destroyed", "not measured", "obstructed"):
            event.truth_m = None
        elif event.well == "P-1":
            self._set_pump(event)
        elif event.well == "N3-L" and event.truth_m > self._point(event).elevation:
            event.status = "flowing"
        elif event.truth_m < well.ground - well.screen_bottom:
            if special.get("sump"):
                event.tags.add("in the sump")
            else:
                event.status = "dry"
        event.row["quality"] = special.get("quality", "good" if event.truth_m is not None else "")

    def _set_pump(self, event: Event) -> None:
        if event.round in story.PUMP_OFF_BEFORE:
            event.status = "static"
            event.row["notes"] = story.PUMP_OFF_BEFORE[event.round]
        elif event.round in story.PUMP_OFF_SHORT:
            event.status = "recovering"
            event.row["notes"] = f"Pump stopped {story.PUMP_OFF_SHORT[event.round]} min before"
        else:
            event.status = "pumping"
            rate = self.supply.rate(days(event.moment)) * 1000.0
            event.row["discharge"] = Decimal(f"{rate:.1f}")

    def _point(self, event: Event) -> story.Point:
        return story.point_at(event.well, event.access, event.moment.date().isoformat())

    @staticmethod
    def _set_instrument(event: Event, special: dict[str, Any], day: str) -> None:
        crew_a = event.well in story.ROUTE_A or event.well == "W-06R"
        code, method = "E-1" if crew_a else ("E-2" if day < "2023-01-17" else "E-3"), "electric tape"
        if event.well == "W-09" and event.round in story.PRODUCT:
            code, method = "IP-1", "interface probe"
        if code == "E-3" and event.round == story.BORROWED_IN:
            code = story.BORROWED_TAPE
        if event.status == "flowing":
            code, method = "SP-1", "standpipe"
        if event.truth_m is None or special.get("overflow"):
            code, method = "", ""
        if "given_as" in special:
            code, method = "", "earlier programme" if special["given_as"] == "water_elevation" else "electric tape"
        event.row["instrument"], event.row["method"] = code, method

    def _read(self, event: Event, special: dict[str, Any], day: str, key: str) -> None:
        """Book the reading or readings of an event."""
        assert event.truth_m is not None
        point, row = self._point(event), event.row
        if special.get("overflow"):
            event.tags.add("overflow")
            return
        if "given_as" in special:
            self._book_directly(event, special["given_as"], point)
            return
        thickness = story.PRODUCT.get(event.round, 0.0) if event.well == "W-09" else 0.0
        density = next(value for until, value in story.PRODUCT_DENSITY if day < until)
        event.interface_m = event.truth_m - density * thickness
        if "in the sump" in event.tags:
            well = story.BY_CODE[event.well]
            event.interface_m = well.ground - well.screen_bottom - 0.05
            event.bound_m = well.ground - well.screen_bottom
        depth = point.elevation - event.interface_m + special.get("blunder", 0.0)
        if thickness:
            top = self.on_tape(row["instrument"], day, depth - thickness)
            row["depth_to_product"] = metres(top)
            event.tolerance_m = 0.004
            if special.get("no_density"):
                event.tags.add("no density")
            else:
                row["product_relative_density"] = Decimal(f"{density:.2f}")
        on_tape = self.on_tape(row["instrument"], day, depth)
        event.correction_m = depth - on_tape
        if row["instrument"] == story.BORROWED_TAPE:
            on_tape += story.BORROWED_M
            event.tags |= {"fault", "borrowed tape"}
        repeats = 3 if whole(1, 9, "third", event.well, key) == 1 else 2
        for number in range(1, repeats + 1):
            column = "depth_to_water" if number == 1 else f"depth_to_water_{number}"
            row[column] = metres(self._as_read(event, on_tape, number, key))
        if "disagree" in special:
            row["depth_to_water_2"] = metres(float(row["depth_to_water"]) + special["disagree"])
            row.pop("depth_to_water_3", None)
            event.tags.add("repeats disagree")
        if "blunder" in special:
            event.tags.add("blunder")

    @staticmethod
    def _as_read(event: Event, on_tape: float, number: int, key: str) -> float:
        if event.status == "flowing":
            event.tolerance_m = 0.006
            return round(on_tape / 0.005) * 0.005
        return on_tape + 0.001 * whole(-1, 1, "repeat", event.well, key, number)

    @staticmethod
    def _book_directly(event: Event, column: str, point: story.Point) -> None:
        assert event.truth_m is not None
        ground = point.elevation - point.height
        value = event.truth_m if column == "water_elevation" else ground - event.truth_m
        event.row[column] = metres(value)
        event.tags.add(column)

    def _sound(self, event: Event, day: str, key: str) -> None:
        """Book the depth of the bottom where it was sounded."""
        yearly = event.round.endswith("Q3") and event.status == "static" and "given_as" not in event.tags
        silting = event.well == "W-05" and event.round in story.SILTING and event.truth_m is not None
        if not (yearly or silting or event.status == "dry") or event.well == "P-1" or not event.row["instrument"]:
            return
        well, point = story.BY_CODE[event.well], self._point(event)
        bottom = well.total_depth - 0.005 * (int(day[:4]) - 2018)
        if event.well == "W-05":
            bottom = story.SILTING[event.round]
        elif event.well == "W-03":
            bottom = story.SILT_IN_DRY_WELL[int(day[:4])]
        length = story.LENGTH_BELOW_M[event.row["instrument"]]
        reading = self.on_tape(event.row["instrument"], day, bottom + point.height - length)
        event.row["sounded_depth"] = metres(reading + 0.001 * whole(-4, 4, "bottom", event.well, key), 2)
        event.sounded_m = bottom
        if event.status == "dry":
            event.bound_m = well.ground - min(well.screen_bottom, bottom)

    def in_round(self, code: str) -> list[Event]:
        """Return the events of a round."""
        return [event for event in self.events if event.round == code]
