"""Thresholds of wells: their states over a period, and every crossing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.network.base import Group, Instant, Moment, Wells, codes_of, day_of, same_parameters

if TYPE_CHECKING:
    from gwnet.analysis.thresholds.states import ThresholdState


class Thresholds(Group):
    """States of thresholds over a period, from manual readings and loggers."""

    _path = "net.thresholds"

    def __call__(
        self,
        wells: Wells = None,
        *,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the states of thresholds over a period, one row a threshold.

        Parameters as `gwnet.network`; rows as `gwnet.analysis.thresholds.record.states_table`.
        """
        from gwnet.analysis.thresholds.record import states_table

        states, code = self._states(wells, start, end, site, known_on)
        return in_unit(states_table(states, code, unit), unit)

    @same_parameters(__call__)
    def crossings(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Return every crossing of thresholds that reaches into a period, by readings and by loggers, one row each.

        Parameters as `gwnet.network`; rows as `gwnet.analysis.thresholds.record.crossings_table`.
        """
        from gwnet.analysis.thresholds.record import crossings_table

        states, code = self._states(**asked)
        return in_unit(crossings_table(states, code), unit)

    def states(
        self,
        wells: Wells = None,
        *,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> tuple[ThresholdState, ...]:
        """Return the states of thresholds over a period with their crossings and the levels held against them.

        Parameters as `gwnet.network`; as `gwnet.analysis.thresholds.states.find_states`, in metres.
        """
        return self._states(wells, start, end, site, known_on)[0]

    def _states(
        self, wells: Wells, start: Moment, end: Moment, site: str | None, known_on: Instant
    ) -> tuple[tuple[ThresholdState, ...], str]:
        from gwnet.analysis.thresholds.record import threshold_states

        codes = codes_of(wells)
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            return threshold_states(record, day_of(start), day_of(end), codes), str(record.site)
