"""Same-day sets, maps and gradients of a site, straight from the record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from gwnet.analysis.levels.places import located, projected
from gwnet.analysis.levels.serving import IMPOSSIBLE
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.levels import LevelRequest, levels_for_sets
from gwnet.analysis.maps.potentiometric import gradient_of, make_map
from gwnet.analysis.maps.same_day import leave_out, same_day_set
from gwnet.analysis.maps.same_day_loggers import logger_text, moment_of
from gwnet.analysis.maps.set_pace import RATE_DAYS, moving_text, rates_of, set_text
from gwnet.clock import zone_of
from gwnet.constants import OTHER_AQUIFER, SAME_DAY_WINDOW_DAYS
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.hydro.gradients.horizontal import Departure, Gradient
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.maps.result import MapResult
    from gwnet.hydro.surfaces.variogram import Covariance

#: Days about the date whose levels are fetched beside the window, for wells' reasons and rates.
_MARGIN_DAYS: Final = RATE_DAYS + 1


@dataclass(frozen=True)
class SetRule:
    """Which levels enter same-day sets, wherever a map, a gradient or a change is made from them.

    Attributes
    ----------
    window_days : float, optional
        Days before and after the date; the site's own unless given.
    exclude : tuple of str
        Wells and gauges to leave out by request.
    loggers : bool
        Whether the level of a well's logger is used where no usable reading was made: that at the median time of the
        usable readings, else the one nearest to it within the window.
    wells : tuple of str
        The only wells that are looked at; empty for all. Gauges are not affected.
    """

    window_days: float | None = None
    exclude: tuple[str, ...] = ()
    loggers: bool = True
    wells: tuple[str, ...] = ()

    def for_site(self, site: pd.Series) -> SetRule:
        """Return the rule with its window and its names in order.

        Parameters
        ----------
        site : pandas.Series
            Settings of the site.

        Returns
        -------
        SetRule
            With the window that was asked for, else the site's own, else the usual one.
        """
        own = site["same_day_window_days"]
        window = self.window_days if self.window_days is not None else (SAME_DAY_WINDOW_DAYS if pd.isna(own) else own)
        # In order and once each: rules that mean the same must be equal, as keys of what is kept.
        return SetRule(float(window), tuple(sorted(set(self.exclude))), self.loggers, tuple(sorted(set(self.wells))))


#: Wells that make a plane and leave no residual.
_PLANE_WELLS: Final = 3

#: The rule where nobody asks for another.
USUAL_RULE: Final = SetRule()


def control_of(record: Snapshot, aquifer: str, date: dt.date, rule: SetRule = USUAL_RULE) -> pd.DataFrame:
    """Return the same-day set of one aquifer of a site: the only way to the control of maps, gradients and changes.

    Parameters as `gwnet.analysis.maps`.

    Parameters
    ----------
    date : datetime.date
        Local date.
    rule : SetRule, optional
        Which levels enter.

    Returns
    -------
    pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`; made once, so not to be changed in place.

    Raises
    ------
    NotFoundError
        If the aquifer has no well and no gauge, or a name to be left out is not in the set.
    """
    return controls_of(record, aquifer, [date], rule)[0]


def controls_of(
    record: Snapshot,
    aquifer: str,
    dates: Sequence[dt.date],
    rule: SetRule = USUAL_RULE,
    table: pd.DataFrame | None = None,
) -> list[pd.DataFrame]:
    """Return the same-day sets of one aquifer on several dates, with one pass over the loggers.

    Parameters
    ----------
    record, aquifer : object
        As in `control_of`.
    dates : sequence of datetime.date
        Local dates.
    rule : SetRule, optional
        Which levels enter.
    table : pandas.DataFrame, optional
        Reduced levels of the site, where they are at hand.

    Returns
    -------
    list of pandas.DataFrame
        As `control_of`, one a date.
    """
    site = record.settings
    rule = rule.for_site(site)

    def chosen(date: dt.date, loggers: pd.DataFrame | None, exclude: Collection[str] = ()) -> pd.DataFrame:
        return same_day_set(
            _levels_about(record, date, rule) if table is None else table,
            placed_wells(record) if not rule.wells else _only(placed_wells(record), rule.wells),
            aquifer=aquifer,
            date=date,
            time_zone=site["time_zone"],
            window_days=float(rule.window_days or 0.0),
            stages=record.stages,
            site=site["site"],
            exclude=exclude,
            loggers=loggers,
        )

    def once(date: dt.date, other: SetRule, loggers: pd.DataFrame | None = None) -> pd.DataFrame:
        return record.once(("control", aquifer, date, other), lambda: chosen(date, loggers, other.exclude))

    # Without exclusions and loggers: reused by every rule that differs in these only.
    read = [once(date, SetRule(rule.window_days, (), loggers=False, wells=rule.wells)) for date in dates]
    of_loggers = _logger_levels(record, aquifer, dates, rule, read) if rule.loggers else [None for _ in dates]
    if rule.exclude:
        leave_out(pd.concat(read), rule.exclude)  # refuses a name that is in none of the sets
    return [
        # A name that this day does not have is one of another day of the same request.
        once(date, replace(rule, exclude=tuple(name for name in rule.exclude if name in set(bare["well"]))), loggers)
        if rule.exclude or (loggers is not None and len(loggers))
        else bare
        for date, bare, loggers in zip(dates, read, of_loggers, strict=True)
    ]


def _logger_levels(
    record: Snapshot, aquifer: str, dates: Sequence[dt.date], rule: SetRule, read: Sequence[pd.DataFrame]
) -> list[pd.DataFrame | None]:
    """Return the levels of loggers in the wells that have no usable reading on each date; each is looked up once."""
    kept: dict[dt.date, pd.DataFrame | None] = record.once(("set loggers", aquifer, rule.window_days, rule.wells), dict)
    requests = {}
    for date, control in zip(dates, read, strict=True):
        # Looking up samples is what costs; wells of other aquifers never enter the set.
        elsewhere = control["reason"].str.startswith(OTHER_AQUIFER)
        missing = control.loc[~control["used"].astype(bool) & (control["kind"] == "well") & ~elsewhere, "well"]
        if date not in kept:
            moment = moment_of(control, date, str(record.settings["time_zone"]))
            requests[date] = LevelRequest(tuple(missing), moment, *_window_utc(record, date, rule))
    kept.update(zip(requests, levels_for_sets(record, list(requests.values())), strict=True))
    return [kept[date] for date in dates]


def _only(wells: pd.DataFrame, names: Collection[str]) -> pd.DataFrame:
    return wells[wells["well"].isin(names)]


def placed_wells(record: Snapshot) -> pd.DataFrame:
    """Return the wells of a site with their places in its coordinates.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    pandas.DataFrame
        Wells frame; made once, so not to be changed in place.
    """
    return record.once("placed wells", lambda: located(record.wells, str(record.settings["crs"])))


def _window_utc(record: Snapshot, date: dt.date, rule: SetRule) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return the window about a date in UTC: from its start less the half-width to its end plus it."""
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=zone_of(record.settings["time_zone"]))
    reach, day = pd.Timedelta(days=float(rule.window_days or 0.0)), pd.Timedelta(days=1)
    start = pd.Timestamp(midnight).tz_convert("UTC")
    return start - reach, start + day + reach


def _levels_about(record: Snapshot, date: dt.date, rule: SetRule) -> pd.DataFrame:
    """Return the levels of a site in the window about a date and the days beside it."""
    margin = dt.timedelta(days=float(rule.window_days or 0.0) + _MARGIN_DAYS)
    noon = dt.datetime.combine(date, dt.time(12), tzinfo=dt.UTC)
    return levels(record, Selection(start=noon - margin, end=noon + margin))


def map_of(
    record: Snapshot,
    aquifer: str,
    date: dt.date,
    rule: SetRule = USUAL_RULE,
    *,
    covariance: Covariance | None = None,
    table: pd.DataFrame | None = None,
    **how: Any,
) -> MapResult:
    """Return the potentiometric map of one aquifer of a site on a date.

    Parameters
    ----------
    record, aquifer, date, rule : object
        As in `control_of`.
    covariance : gwnet.hydro.surfaces.variogram.Covariance, optional
        Covariance for kriging, its range in metres; fitted unless given.
    table : pandas.DataFrame, optional
        Reduced levels of the site, where they are at hand.
    **how : object
        Method, interval_m, unit and features, as in `gwnet.analysis.maps.potentiometric.make_map`.

    Raises
    ------
    NotFoundError
        If the aquifer has no well and no gauge.
    TooFewLevelsError
        If fewer than three levels can be used.
    """
    site = record.settings
    rule = rule.for_site(site)
    near = _levels_about(record, date, rule) if table is None else table
    (control,) = controls_of(record, aquifer, [date], rule, near)
    unit_m = unit_of_coordinates(site["crs"])
    few = int(control["used"].astype(bool).sum()) == _PLANE_WELLS
    drawn = make_map(
        control,
        departure=known_departure(record, aquifer, rule) if few else None,
        aquifer=aquifer,
        date=date,
        # Ranges are given in metres, while the map's coordinates may be in feet.
        covariance=None if covariance is None else replace(covariance, range_m=covariance.range_m / unit_m),
        crs=site["crs"],
        vertical_datum=site["vertical_datum"],
        coordinate_unit_m=unit_m,
        check_ground=True,
        **how,
    )
    moving = moving_text(rates_of(near, control, date), drawn.span, drawn.interval_m, drawn.unit)
    first = [
        impossible_text(near, drawn.control),
        review_text(record, drawn.control),
        logger_text(drawn.control),
        moving,
    ]
    return replace(
        drawn,
        cautions=(*filter(None, first), *drawn.cautions),
        set_text=set_text(date, float(rule.window_days or 0.0)),
    )


def impossible_text(table: pd.DataFrame, control: pd.DataFrame) -> str:
    """Return which used levels of a map are out of the bounds of their wells, since review approved them.

    Parameters
    ----------
    table : pandas.DataFrame
        Reduced levels, as `gwnet.analysis.levels.table.levels`.
    control : pandas.DataFrame
        Control frame.

    Returns
    -------
    str
        Empty where no such level is used; one that nobody approved is left out with its reason.
    """
    used = set(control.loc[control["used"].astype(bool) & (control["kind"] == "well"), "event_id"])
    rows = table[table["event_id"].isin(used)]
    named = [
        f"{well} ({phrase})"
        for well, finding in zip(rows["well"], rows["finding"].fillna("").astype(str), strict=True)
        for phrase in IMPOSSIBLE
        if phrase in finding.split("; ")
    ]
    if not named:
        return ""
    return f"Approved in review and used although out of the bounds of the well: {', '.join(named)}."


def review_text(record: Snapshot, control: pd.DataFrame) -> str:
    """Return in which review state the levels of a map are.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    control : pandas.DataFrame
        Control frame.

    Returns
    -------
    str
        For example ``Review: 3 of 20 levels approved, 17 provisional.``; stages and levels of loggers are not reviewed
        and not counted.
    """
    used = control[control["used"].astype(bool) & (control["kind"] == "well")]
    used = used[used["source"] != "logger"] if "source" in used else used
    states = record.reviews.set_index("event_id")["state"]
    approved = int((used["event_id"].map(states) == "approved").sum())
    rest = f", {len(used) - approved} provisional" if approved < len(used) else ""
    return f"Review: {approved} of {len(used)} levels approved{rest}."


def unit_of_coordinates(crs: str) -> float:
    """Return how many metres one unit of a projected system's coordinates is.

    Parameters
    ----------
    crs : str
        Name or code of the system.

    Returns
    -------
    float
        Metres in one unit [m].
    """
    return float(projected(crs).axis_info[0].unit_conversion_factor)


def check_wells(record: Snapshot, wells: Collection[str], aquifer: str | None = None) -> str:
    """Refuse wells that are not at the site or not all of one aquifer.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : collection of str
        Wells.
    aquifer : str, optional
        The aquifer that they must tap.

    Returns
    -------
    str
        The aquifer.

    Raises
    ------
    NotFoundError
        If a well is not on record or not of the aquifer, or the wells tap several.
    """
    aquifer_of = record.wells.set_index("well")["aquifer"]
    if aquifer is not None:
        aquifer_of = aquifer_of[aquifer_of == aquifer]
    missing = [well for well in wells if well not in aquifer_of.index]
    if missing:
        of = "" if aquifer is None else f" of aquifer {aquifer!r}"
        message = f"{', '.join(missing)}: no such well{of} at site {record.site!r}."
        raise NotFoundError(message, fix="See 'gwnet wells' for the wells on record.")
    aquifers = sorted(set(aquifer_of[list(wells)]))
    if len(aquifers) > 1 or not aquifers[0]:
        words = ", ".join(name or "none" for name in aquifers)
        message = f"The wells tap more than one aquifer ({words}); a gradient is of one."
        raise NotFoundError(message, fix="Name wells of one aquifer.")
    return str(aquifers[0])


def gradient_between(
    record: Snapshot, wells: Collection[str], date: dt.date, rule: SetRule = USUAL_RULE
) -> tuple[Gradient, pd.DataFrame]:
    """Return the gradient of the plane through the levels of named wells on a date.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : collection of str
        Three wells or more, of one aquifer.
    date : datetime.date
        Local date.
    rule : SetRule, optional
        Which levels enter.

    Returns
    -------
    tuple
        The gradient, and the control frame of the named wells.

    Raises
    ------
    NotFoundError
        If a well is not on record, the wells tap several aquifers, or one of them has no level that can be used.
    TooFewLevelsError
        If fewer than three wells are named.
    AnalysisError
        If they lie on one line.
    """
    aquifer = check_wells(record, wells)
    control = control_of(record, aquifer, date, rule)
    named = control[control["well"].isin(list(wells)) & (control["kind"] == "well")].copy()
    refused = named[~named["used"].astype(bool)]
    if not refused.empty:
        words = "; ".join(f"{well}: {reason}" for well, reason in zip(refused["well"], refused["reason"], strict=True))
        message = f"Not every well has a level of {date.isoformat()} that can be used: {words}."
        raise NotFoundError(message, fix="Name other wells, another date or a wider window.")
    unit_m = unit_of_coordinates(record.settings["crs"])
    few = len(named) == _PLANE_WELLS
    departure = known_departure(record, aquifer, rule, date=date) if few else None
    return gradient_of(named, coordinate_unit_m=unit_m, departure=departure), named


def known_departure(
    record: Snapshot, aquifer: str, rule: SetRule = USUAL_RULE, *, date: dt.date | None = None
) -> Departure | None:
    """Return how far heads lie off a plane in an aquifer: of the set of a date, else of the day with most levels.

    One set is taken: the same wells depart from a plane alike in every round, so that further rounds would look like
    degrees of freedom and be none.

    Parameters
    ----------
    record, aquifer, rule : object
        As in `control_of`.
    date : datetime.date, optional
        Day whose own set is taken where it has four levels or more.

    Returns
    -------
    gwnet.hydro.gradients.horizontal.Departure or None
        None where neither day has four levels that are not on one line.
    """
    table = levels(record)
    usable = table[(table["aquifer"] == aquifer) & table["usable"].astype(bool)]
    counts = usable.groupby("day")["well"].nunique()
    # The day asked for before the best one, as the plane is that of its own set where it can be.
    days = [] if date is None else [date]
    if not counts.empty:
        days.append(counts.idxmax().date())
    for day in days:
        departure = departure_of(record, control_of(record, aquifer, day, rule), day.isoformat())
        if departure is not None:
            return departure
    return None


def departure_of(record: Snapshot, control: pd.DataFrame, source: str) -> Departure | None:
    """Return how far the heads of a same-day set lie off their plane.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    source : str
        What the set is called in notes.

    Returns
    -------
    gwnet.hydro.gradients.horizontal.Departure or None
        None where fewer than four levels are used or they lie on one line.
    """
    used = control[control["used"].astype(bool)]
    # Three levels leave no residual that could say how far heads depart.
    if len(used) <= _PLANE_WELLS:
        return None
    try:
        plane = gradient_of(used, coordinate_unit_m=unit_of_coordinates(record.settings["crs"]))
    except AnalysisError:
        return None
    return Departure(plane.residual_sd_m, plane.n - _PLANE_WELLS, f"the {plane.n} levels of {source}")
