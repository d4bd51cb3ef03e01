"""A snapshot of the record: what was known at one moment, of one site or of all, each frame fetched once.

A `Snapshot` is handed down instead of a connection, a moment and a site. Its frames are fetched when they are first
asked for and kept; whoever takes one must not change it in place. What is worked out from them (reduced levels, heads
of loggers, findings) is kept by `Snapshot.once`, so that it is worked out once however many ask.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import pandas as pd

from gwnet.records import RecordState, Selection
from gwnet.store.fetch import levels as fetch_levels
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import pumping as fetch_pumping
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.codes import require_code
from gwnet.store.fetch.states import state_at

if TYPE_CHECKING:
    from sqlalchemy import Connection

Result = TypeVar("Result")


class Snapshot:
    """The record as it was known at one moment, of one site or of all.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from; one transaction, so that all frames are of one state.
    known_on : datetime.datetime, optional
        Record as known at this time; the live record unless given.
    site : str, optional
        Code of the site that is looked at; all sites unless given.
    """

    def __init__(self, connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> None:
        self.connection = connection
        self.known_on = known_on
        self.site = site
        self._kept: dict[Hashable, Any] = {}

    def once(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Return what was made under a key before, or make and keep it.

        Parameters
        ----------
        key : hashable
            Name of the result, with everything that it depends on beside the snapshot.
        make : callable
            Called without arguments where nothing is kept.

        Returns
        -------
        object
            The result; the same object every time, so it must not be changed in place.
        """
        if key not in self._kept:
            self._kept[key] = make()
        result: Result = self._kept[key]
        return result

    def of_site(self, site: str | None = None) -> Snapshot:
        """Return the snapshot of one site, sharing every frame that was fetched.

        Parameters
        ----------
        site : str, optional
            Code of the site; may be left out when the record holds only one.

        Returns
        -------
        Snapshot
            Of that site alone.

        Raises
        ------
        NotFoundError
            If there is no such site, or several and none was named.
        """
        asked = site if site is not None else self.site
        code = self.once(("code of site", asked), lambda: str(fetch.choose_site(self.all_sites, asked)["site"]))
        # The same object, so that what it keeps is kept once.
        if code == self.site:
            return self
        return self.once(("site", code), lambda: self._narrowed(code))

    def of_all_sites(self) -> Snapshot:
        """Return the snapshot of all sites, sharing every frame that was fetched."""
        return self._all

    def of_only_site(self) -> Snapshot:
        """Return the snapshot of the site where the record holds one alone, so that both share what was made."""
        return self.of_site() if self.site is None and len(self.all_sites) == 1 else self

    def _narrowed(self, code: str) -> Snapshot:
        narrow = Snapshot(self.connection, self.known_on, code)
        # Frames are fetched for all sites and cut for each, so every narrow snapshot asks the whole one.
        narrow._all = self._all
        return narrow

    @cached_property
    def _all(self) -> Snapshot:
        """The snapshot of all sites that holds the fetched frames."""
        return self if self.site is None else Snapshot(self.connection, self.known_on)

    def _frame(self, name: str, query: Callable[..., pd.DataFrame]) -> pd.DataFrame:
        """Return a frame, fetched once for all sites; of this site alone where one is set."""
        whole = self._all.once(name, lambda: query(self.connection, self.known_on))
        # Frames without a site, as of aquifers, are the same for all.
        if self.site is None or "site" not in whole.columns:
            return whole
        return self.once((name, "of site"), lambda: whole[whole["site"] == self.site].reset_index(drop=True))

    @property
    def state(self) -> RecordState | None:
        """Return the state of the record that is looked at; None for one on which nothing was recorded yet."""
        state = self._all.once("state", lambda: state_at(self.connection, self.known_on))
        # Printed in local time; the state itself has no zone.
        return None if state is None else replace(state, zone=self.zone)

    @property
    def zone(self) -> str:
        """Return the time zone of the sites that are looked at; UTC where they have several, or there is none."""
        return fetch.zone_of_sites(self.sites)

    @property
    def settings(self) -> pd.Series:
        """Return the settings of the site: a row of `sites`."""
        return fetch.choose_site(self.all_sites, self.site)

    @property
    def all_sites(self) -> pd.DataFrame:
        """Return the sites on record, whichever is looked at; see `gwnet.store.fetch.registry.sites`."""
        return self._all._frame("sites", fetch.sites)

    @property
    def sites(self) -> pd.DataFrame:
        """Return the sites; see `gwnet.store.fetch.registry.sites`."""
        return self._frame("sites", fetch.sites)

    @property
    def aquifers(self) -> pd.DataFrame:
        """Return the aquifers; see `gwnet.store.fetch.registry.aquifers`."""
        return self._frame("aquifers", fetch.aquifers)

    @property
    def construction(self) -> pd.DataFrame:
        """Return the parts of the wells; see `gwnet.store.fetch.registry.construction`."""
        return self._frame("construction", fetch.construction)

    @property
    def wells(self) -> pd.DataFrame:
        """Return the wells; see `gwnet.store.fetch.registry.wells`."""
        parts = self._all.construction
        # The screens come from the parts, which are fetched for other ends as well.
        return self._frame("wells", lambda connection, known_on: fetch.wells(connection, known_on, parts=parts))

    @property
    def measuring_points(self) -> pd.DataFrame:
        """Return the measuring points on record; see `gwnet.store.fetch.registry.measuring_points`."""
        return self._frame("measuring points", fetch.measuring_points)

    @property
    def measuring_point_history(self) -> pd.DataFrame:
        """Return the measuring points with those that were retired before."""
        return self._frame("point history", lambda *key: fetch.measuring_points(*key, history=True))

    @property
    def sources(self) -> pd.DataFrame:
        """Return the loaded files; see `gwnet.store.fetch.registry.sources`."""
        return self._frame("sources", fetch.sources)

    @property
    def instruments(self) -> pd.DataFrame:
        """Return the instruments; see `gwnet.store.fetch.programme.instruments`."""
        return self._frame("instruments", fetch_programme.instruments)

    @property
    def tape_checks(self) -> pd.DataFrame:
        """Return the tape checks; see `gwnet.store.fetch.programme.tape_checks`."""
        return self._frame("tape checks", fetch_programme.tape_checks)

    @property
    def rounds(self) -> pd.DataFrame:
        """Return the gauging rounds; see `gwnet.store.fetch.programme.rounds`."""
        return self._frame("rounds", fetch_programme.rounds)

    @property
    def thresholds(self) -> pd.DataFrame:
        """Return the thresholds; see `gwnet.store.fetch.programme.thresholds`."""
        return self._frame("thresholds", fetch_programme.thresholds)

    @property
    def stages(self) -> pd.DataFrame:
        """Return the stages of rivers and lakes; see `gwnet.store.fetch.programme.stages`."""
        return self._frame("stages", fetch_programme.stages)

    @property
    def context(self) -> pd.DataFrame:
        """Return rainfall, abstraction and the like; see `gwnet.store.fetch.programme.context`."""
        return self._frame("context", fetch_programme.context)

    @property
    def pumping_tests(self) -> pd.DataFrame:
        """Return the pumping tests; see `gwnet.store.fetch.pumping.pumping_tests`."""
        return self._frame("pumping tests", fetch_pumping.pumping_tests)

    @property
    def pumping_rates(self) -> pd.DataFrame:
        """Return the rates of pumping tests; see `gwnet.store.fetch.pumping.pumping_rates`."""
        return self._frame("pumping rates", fetch_pumping.pumping_rates)

    @property
    def pumping_readings(self) -> pd.DataFrame:
        """Return the readings of pumping tests; see `gwnet.store.fetch.pumping.pumping_readings`."""
        return self._frame("pumping readings", fetch_pumping.pumping_readings)

    @property
    def reviews(self) -> pd.DataFrame:
        """Return the review states of level events; see `gwnet.store.fetch.levels.reviews`."""
        return self._frame("reviews", fetch_levels.reviews)

    @property
    def visits(self) -> dict[int, int]:
        """Return how many level events each well has, by its id; see `gwnet.store.fetch.levels.count_events`."""
        counts: dict[int, int] = self._all.once(
            "visits", lambda: fetch_levels.count_events(self.connection, self.known_on)
        )
        return counts

    @property
    def deployments(self) -> pd.DataFrame:
        """Return the deployments of loggers; see `gwnet.store.fetch.samples.deployments`."""
        instruments = self._all.instruments
        return self._frame("deployments", lambda *key: fetch_samples.deployments(*key, instruments=instruments))

    def level_records(self, selection: Selection | None = None) -> pd.DataFrame:
        """Return level events without their readings; see `gwnet.store.fetch.levels.level_records`.

        Parameters
        ----------
        selection : gwnet.records.Selection, optional
            Which events; all of the site unless given. Dates do not restrict here, aware instants do.
        """
        # The site of the selection before that of the snapshot, as the narrower question.
        asked = replace(selection or Selection(), site=self._site_of(selection))
        return self.once(
            ("level records", asked), lambda: fetch_levels.level_records(self.connection, asked, self.known_on)
        )

    def _site_of(self, selection: Selection | None) -> str | None:
        return (None if selection is None else selection.site) or self.site

    def require(
        self, *, wells: Sequence[str] | None = None, aquifer: str | None = None, round_code: str | None = None
    ) -> None:
        """Refuse codes that are not on record.

        Raises
        ------
        NotFoundError
            If one is not on record; the message names the nearest that are.
        """
        if self.site is not None:
            fetch.choose_site(self.all_sites, self.site)
        for well in wells or ():
            require_code("well", well, self.wells["well"])
        if aquifer is not None:
            require_code("aquifer", aquifer, self.aquifers["aquifer"])
        if round_code is not None:
            require_code("round", round_code, self.rounds["round"])
