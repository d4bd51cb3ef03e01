"""An open record and what can be asked of it, from a notebook or a script; the command line calls the same methods.

`gwnet.open` returns a `Network`. Its methods are grouped by subject, and a group prints what it offers::

    net.wells()       .history
    net.levels()      .series, .explain, .effects
    net.hydrograph()
    net.trends()      .pooled, .steps, .thresholds, .left_out, .figure
    net.seasons()     .summary, .daily, .figure, .decomposition
    net.thresholds()  .crossings, .states
    net.map()         .change, .pair, .data_worth
    net.gradients()   .by_round, .local, .vertical
    net.loggers       .heads, .daily, .status, .findings, .correct, .load, .try_file, …
    net.rounds()      .due, .plan, .sheet
    net.checks()      .record
    net.review        .queue, .approve, .reject, .hold, .reopen, .decide
    net.report()      .issues, .diff
    net.export()      .formats
    net.backup()      and Network.restore()

What is computed is in `gwnet.analysis`, what is drawn and written in `gwnet.products`.

Parameters
----------
wells : str or sequence of str, optional
    Codes of wells; all unless given.
aquifer : str, optional
    Only wells of this aquifer.
site : str, optional
    Only this site; what is drawn or planned is of one, whose code may be left out when the record holds only one.
start, end : date, datetime or str, optional
    First and last local date (both included), or instants with their zone; text is in ISO 8601. Figures, gradients
    and review take dates.
known_on : datetime or str, optional
    Record as it was known at this instant, or a state of it by its number: ``state:143``; as it is now unless given.
unit : {"m", "ft"}, optional
    Unit of lengths: columns end in ``_m`` or ``_ft``, slopes in ``_m_per_year`` or ``_ft_per_year``.
approved : bool, optional
    Whether only approved levels take part; provisional ones do as well unless said.
window_days : float, optional
    Days before and after a date that count as the same day; the site's own unless given.
exclude : sequence of str, optional
    Wells and gauges to leave out.
loggers : bool, optional
    Whether the level of a well's logger is used where there is no usable manual reading.
conductivity, porosity : str, optional
    Hydraulic conductivity with its unit, ``12 m/d`` or ``5..20 m/d``, and effective porosity, ``0.22`` or
    ``0.15..0.25``; both together, for seepage velocities.
by : str
    Who records or decides.
reason : str
    Why; kept with the record.
now_utc : datetime, optional
    Aware time that counts as what the clock says when something is recorded; the database's clock unless given.
dry_run : bool, optional
    Whether only to work out what would change, and write nothing.

Codes that are not on record raise `gwnet.errors.NotFoundError`, values that cannot be used
`gwnet.errors.SettingsError`.
"""

from gwnet.network.core import Network, doctor, init, renew, upgrade

__all__ = ["Network", "doctor", "init", "renew", "upgrade"]
