"""What every group of methods shares: one way to read the record, one to write to it, and a list of what it offers."""

from __future__ import annotations

import datetime as dt
import functools
import inspect
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeAlias, TypeVar

from gwnet.clock import local_day
from gwnet.errors import SettingsError
from gwnet.store.fetch.states import known_on_of
from gwnet.store.settled import wait_until_settled
from gwnet.store.snapshot import Snapshot
from gwnet.store.waiting import newest_serial

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from gwnet.store.session import Store

#: Codes of wells: one, several, or None for all.
Wells: TypeAlias = Sequence[str] | None
#: A local date, or an instant with its zone; as text in ISO 8601 as well.
Moment: TypeAlias = dt.date | dt.datetime | str | None
#: An instant with its zone, as text in ISO 8601 as well; or ``state:143``, a state of the record by its number.
Instant: TypeAlias = dt.datetime | str | None

_STATE = "state:"


Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")
Plan = TypeVar("Plan")

#: How often something is worked out without holding up others, before it is done under the write lock.
_FREE_TRIES = 2


class Group:
    """Methods of one subject; some groups can be called themselves.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    #: How the group is reached from an open record.
    _path = ""

    def __init__(self, store: Store) -> None:
        self._store = store

    def __repr__(self) -> str:
        """Return the methods of the group, a line each."""
        rows = [(f"{self._path}.{name}", doc) for name, doc in _methods(type(self))]
        if callable(self):
            # A group that can be called answers the usual question of its subject, so the call comes first.
            rows.insert(0, (self._path, _summary(type(self).__call__)))
        width = max(len(name) for name, _ in rows) + 4
        return "\n".join(f"{name + '(…)':<{width}} {doc}" for name, doc in rows)

    @contextmanager
    def _record(
        self,
        site: str | None = None,
        known_on: Instant = None,
        *,
        one_site: bool = False,
        wells: Wells = None,
        aquifer: str | None = None,
        round: str | None = None,
    ) -> Iterator[Snapshot]:
        """Give a snapshot of the record, of one site where it must be one; refuse codes that are not on record."""
        asked = asked_state(known_on)
        # A state is settled once no work with an earlier instant can still be committed; asked earlier, the same
        # question could have two answers.
        wait_until_settled(self._store, asked)
        with self._store.reading() as connection:
            record = Snapshot(connection, known_on_of(connection, asked), site)
            # Kept, so that a command can say at its end which state of the record its answer is of.
            self._store.looked_at = record.state
            # What is drawn or planned is of one site; with several on record and none named, this is where that is
            # refused.
            if one_site:
                record = record.of_site()
                self._store.looked_at = record.state
            # A code that is not on record would give an empty table, which reads like a well without levels.
            record.require(wells=wells, aquifer=aquifer, round_code=round)
            yield record

    @contextmanager
    def _writing(
        self,
        act: str,
        by: str,
        *,
        reason: str | None = None,
        now_utc: dt.datetime | None = None,
    ) -> Iterator[Connection]:
        """Give a connection to write with."""
        with self._store.writing(act, by, reason=reason, now_utc=now_utc) as connection:
            yield connection

    def _planned(
        self,
        plan: Callable[[Snapshot], Plan],
        carry_out: Callable[[Connection, Plan], Result],
        act: str,
        by: str,
        *,
        site: str | None = None,
        reason: str | None = None,
        now_utc: dt.datetime | None = None,
    ) -> Result:
        """Work out on a snapshot what is to be recorded, which holds up nobody, and record it if that still holds.

        Where others have recorded something meanwhile, it is worked out anew; at last under the write lock, so that it
        comes to an end however busy the record is.
        """
        for _ in range(_FREE_TRIES):
            with self._store.reading() as connection:
                serial = newest_serial(connection)
                planned = plan(Snapshot(connection, site=site))
            with self._store.writing(act, by, reason=reason, now_utc=now_utc) as connection:
                # Nothing was recorded since the plan was made: what it rests on still holds.
                if newest_serial(connection) == serial:
                    return carry_out(connection, planned)
        with self._store.writing(act, by, reason=reason, now_utc=now_utc) as connection:
            return carry_out(connection, plan(Snapshot(connection, site=site)))


def _methods(group: type) -> list[tuple[str, str]]:
    """Return the public methods of a class in their order, then those of its parts, with their summaries."""
    owners = [group, *(owner for owner in group.__mro__[1:] if issubclass(owner, Group) and owner is not Group)]
    # In the order in which they are written, which goes from the usual to the rare; `dir` would sort them.
    names = [name for owner in owners for name in vars(owner) if not name.startswith("_")]
    members = [(name, inspect.unwrap(getattr(group, name))) for name in dict.fromkeys(names)]
    return [(name, _summary(member)) for name, member in members if inspect.isfunction(member)]


def _summary(member: object) -> str:
    """Return the first sentence of a docstring."""
    text = (inspect.getdoc(member) or "").split("\n")[0]
    return text.split("; see `")[0].rstrip(".") + "."


def same_parameters(
    other: Callable[Concatenate[Any, Parameters], Any],
) -> Callable[[Callable[..., Result]], Callable[Concatenate[Any, Parameters], Result]]:
    """Return what gives a method the parameters of another, which it gets by their names.

    Parameters
    ----------
    other : callable
        Method whose parameters and defaults are taken.

    Returns
    -------
    callable
        Decorator of a method that takes everything by name.
    """
    signature = inspect.signature(other)

    def decorate(method: Callable[..., Result]) -> Callable[Concatenate[Any, Parameters], Result]:
        # Takes over name and docstring; the signature is set below, or editors would show *args.
        @functools.wraps(method)
        def call(*args: Any, **named: Any) -> Result:
            bound = signature.bind(*args, **named)
            bound.apply_defaults()
            return method(**bound.arguments)

        result = inspect.signature(method).return_annotation
        call.__signature__ = signature.replace(return_annotation=result)  # type: ignore[attr-defined]
        # What editors and the documentation show: the method itself takes everything by name.
        return call

    return decorate


def codes_of(wells: Wells) -> list[str] | None:
    """Return codes of wells, each once; a single one may be given as text.

    Parameters
    ----------
    wells : str or sequence of str, optional
        Codes.
    """
    if wells is None:
        return None
    # A text is a sequence, too: of its letters.
    return [wells] if isinstance(wells, str) else list(dict.fromkeys(wells))


def day_or_instant(moment: Moment) -> dt.date | dt.datetime | None:
    """Return a local date or an instant, which may be given as text.

    Parameters
    ----------
    moment : date, datetime or str, optional
        Date, time with its zone, or one of the two in ISO 8601.

    Returns
    -------
    datetime.date, datetime.datetime or None
        The same; None where nothing is given.

    Raises
    ------
    SettingsError
        If the text is neither, or a time has no zone.
    """
    if isinstance(moment, str):
        try:
            # A date would be read as its midnight otherwise, which has no zone.
            moment = dt.date.fromisoformat(moment) if len(moment) <= 10 else dt.datetime.fromisoformat(moment)
        except ValueError:
            message = f"Not a date or time: {moment!r}."
            raise SettingsError(message, fix="Write YYYY-MM-DD, or YYYY-MM-DDTHH:MM with an offset.") from None
    if isinstance(moment, dt.datetime) and moment.tzinfo is None:
        message = f"The time {moment.isoformat()} has no zone."
        raise SettingsError(message, fix="Give a date, or a time with an offset.")
    return moment


def day_of(moment: Moment) -> dt.date | None:
    """Return a local date, which may be given as text.

    Parameters
    ----------
    moment : date or str, optional
        Date, or text as YYYY-MM-DD.

    Returns
    -------
    datetime.date or None
        The date; None where nothing is given.

    Raises
    ------
    SettingsError
        If it is no date.
    """
    return None if moment is None else local_day(moment)


def asked_state(known_on: Instant) -> dt.datetime | str | None:
    """Return an instant or the name of a state; the instant may be given as text.

    Parameters
    ----------
    known_on : datetime or str, optional
        Time with its zone, or ``state:143``.

    Returns
    -------
    datetime.datetime, str or None
        Aware time or name of a state; None where nothing is given.

    Raises
    ------
    SettingsError
        If it is neither.
    """
    if isinstance(known_on, str) and known_on.strip().lower().startswith(_STATE):
        return known_on
    return instant_of(known_on)


def instant_of(moment: Instant) -> dt.datetime | None:
    """Return an instant, which may be given as text.

    Parameters
    ----------
    moment : datetime or str, optional
        Time with its zone, for example ``2026-04-07T12:00Z``.

    Returns
    -------
    datetime.datetime or None
        The same; None where nothing is given.

    Raises
    ------
    SettingsError
        If it is no time, or has no zone.
    """
    instant = day_or_instant(moment)
    if instant is None or isinstance(instant, dt.datetime):
        return instant
    message = f"A time with its zone is expected, not the date {instant.isoformat()}."
    raise SettingsError(message, fix="Write for example 2026-04-07T12:00Z.")
