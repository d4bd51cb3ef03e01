"""Every rule that `gwnet check` looks at, in the order of the page for users."""

from __future__ import annotations

from typing import Final

from gwnet.analysis.checks import places, programme, series, steps, visits
from gwnet.analysis.levels.reduce import FINDINGS

#: Every rule whose findings are stored; verdicts of other rules are never touched.
RULES: Final[tuple[str, ...]] = (
    *FINDINGS,
    visits.ABOVE_POINT,
    visits.ABOVE_GROUND,
    visits.BELOW_BOTTOM,
    visits.RECOVERY,
    visits.SILTING,
    visits.DEEPER,
    visits.WINDOW,
    visits.TAPE_DUE,
    visits.LAST_AGAIN,
    series.JUMP,
    series.SEASON,
    series.MISFIT,
    series.UNIT,
    series.SIGN,
    series.DIGITS,
    series.AMOUNT,
    series.POINT,
    places.APART,
    places.GROUND,
    places.ORDER,
    places.COPIED,
    places.EXCHANGED,
    steps.AT_POINT,
    steps.WITH_TAPE,
    programme.MISSING,
)
