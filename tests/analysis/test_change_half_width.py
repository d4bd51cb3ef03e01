"""How far a change may be off: a survey that both levels rest on falls away."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.changes import change_half_width

LEVELS = pd.DataFrame(
    {
        "uncertainty_m": [0.05, 0.05, 0.05, 0.05, np.nan],
        "measuring_point": ["main since 2018", "main since 2018", "", "tube since 2018", "main since 2018"],
        "survey_uncertainty_m": [0.03, 0.03, np.nan, 0.03, 0.03],
    }
)


def test_only_a_survey_of_both_levels_falls_away():
    """0.05 with 0.03 of a survey in it leaves 0.04 of its own: (0.04, 0.04) with one survey, (0.05, 0.05) with two."""
    earlier = LEVELS.assign(measuring_point=["main since 2018", "main since 2021", "", "main since 2018", ""])
    apart, same = 0.05 * np.sqrt(2.0), 0.04 * np.sqrt(2.0)
    assert change_half_width(LEVELS, earlier) == pytest.approx([same, apart, apart, apart, np.nan], nan_ok=True)


@pytest.mark.parametrize(("now_m", "then_m"), [(0.04, 0.03), (0.03, 0.04)])
def test_no_more_than_the_smaller_survey_is_in_both_levels(now_m, then_m):
    now, then = LEVELS.iloc[0].to_dict(), LEVELS.iloc[1].to_dict()
    width = change_half_width({**now, "survey_uncertainty_m": now_m}, {**then, "survey_uncertainty_m": then_m})
    assert float(width) == pytest.approx(0.04 * np.sqrt(2.0))


def test_single_levels_and_levels_of_loggers_are_taken_as_well():
    now, then = LEVELS.iloc[0].to_dict(), LEVELS.iloc[1].to_dict()
    assert float(change_half_width(now, then)) == pytest.approx(0.04 * np.sqrt(2.0))
    of_logger = {"uncertainty_m": 0.03}
    assert float(change_half_width(of_logger, {"uncertainty_m": 0.04})) == pytest.approx(0.05)
    assert float(change_half_width(now, of_logger)) == pytest.approx(np.hypot(0.05, 0.03))
