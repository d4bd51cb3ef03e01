"""What the columns of result tables hold, for the descriptors of report annexes and exports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gwnet.store.as_recorded import ENDING, LEVEL_FROM, LOGGER, MANUAL_READING, PUMPING_TEST, RECORDED, UNIT

#: What a column holds, where its name does not say it all; lengths without their unit.
COLUMN_MEANINGS: Final[Mapping[str, str]] = {
    "measured_at": "Local time with offset; only the date where the time of day is not known",
    "bound": "<= where the well was dry or water stood below its screen: the head is at or below the bound elevation; "
    ">= where it overflowed",
    "bound_elevation": "The head of the aquifer is at or below it, or at or above it, as the bound says",
    "accuracy_from": "Whether the accuracies of survey and reading are stated or a default",
    "depth_to_water": "Below the measuring point, positive downward",
    "depth_below_ground": "Positive downward",
    "measuring_point_elevation": "In force at the time of the reading, above the vertical datum",
    "water_elevation": "Positive upward from the vertical datum",
    "water_elevation_uncorrected": "Before the correction for floating product",
    "uncertainty": "Half-width at 95 % of the water elevation",
    "product_thickness": "Thickness of floating product",
    "sounded_depth": "Depth of the bottom below ground, positive downward",
    "height_above_ground": "Of the measuring point, positive upward",
    "finding": "What the reduction noticed",
    "review": "State of review",
    "usable": "Whether the level may enter maps and trends",
    "unusable_reason": "Why it may not",
    "ended_by": "Day of the first level that is not beyond; empty while the crossing goes on at the end of the period",
    "confirmed_on": "Day on which the rule of the threshold was met",
    "in_a_row": "Most levels of the crossing that follow one another",
    "levels_in_period": "Readings, or days of the logger, beyond in the period",
    "extreme": "Lowest level for a lower threshold, highest for an upper one; of a day of a logger that of its samples",
    "form": "What the threshold limits: level, change or gradient",
    "limit": "Elevation, change (positive for a rise), or difference of head that makes the gradient to the other well",
    "distance": "Horizontal distance to the other well of a gradient",
    "gradient": "Gradient that is limited, positive where the water stands higher at the well",
    "margin": "How far beyond the threshold; negative where short of it",
    "readings_judged": "Readings of the period that say whether the threshold is crossed",
    "logger_days_judged": "Days of the period with data that say so",
    "used": "Whether the level was used for the map",
    "reason": "Why it was left out",
    "coordinate_accuracy": "Half-width at 95 %",
    "ground_accuracy": "Half-width at 95 %",
    "accuracy": "Half-width at 95 %",
    "measuring_point": "Access, and since when its measuring point is as it was surveyed",
    "survey_uncertainty": "Part of the uncertainty that the survey has; falls away from changes at one measuring point",
    "easting": "In the coordinate system of the site",
    "northing": "In the coordinate system of the site",
    LEVEL_FROM: f"{MANUAL_READING}, {LOGGER} or {PUMPING_TEST}; only manual readings are loaded from a file of levels",
    UNIT: "Unit of the lengths as recorded of the row",
    **{
        heading: f"As recorded: {column.meaning[0].lower()}{column.meaning[1:].rstrip('.')}"
        for heading, column in RECORDED.items()
        if heading.endswith(ENDING)
    },
}
