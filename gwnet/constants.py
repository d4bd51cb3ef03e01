"""Constants of the computations, each with its source.

Half-widths are at 95 %. A value marked "project default" is a default of this project for what is not on record; it is
printed with every explanation so that a reader can judge it.
"""

from __future__ import annotations

from typing import Final

#: Methods whose surfaces honour the levels, in the order in which one is chosen of several that are equally good.
INTERPOLATION_METHODS: Final = ("kriging", "spline", "triangulation")

#: Methods that a surface can be made by; a trend surface does not honour the levels.
SURFACE_METHODS: Final = (*INTERPOLATION_METHODS, "quadratic")

#: What can be asked for of a map; ``auto`` is the interpolation with the smallest leave-one-out error.
MAP_METHODS: Final = ("auto", *SURFACE_METHODS)

#: Standard errors in a 95 % half-width: the 0.975 quantile of the standard normal distribution; Abramowitz and Stegun
#: (1964), Handbook of Mathematical Functions, table 26.5 (from memory).
NORMAL_95: Final[float] = 1.959963984540054

#: Standard deviation of normal values over their median absolute deviation: 1 / (0.75 quantile of the standard normal
#: distribution); Rousseeuw and Croux (1993), J. American Statistical Association 88, 1273–1283 (from memory).
MAD_TO_SD: Final[float] = 1.482602218505602

#: Repeats of one visit must agree within this [m]; 0.02 ft, USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 6-8 and 37.
REPEAT_TOLERANCE_M: Final[float] = 0.006

#: Accuracy of a reading by tape [m]; 0.01 ft, USGS TM 1-A1 p. 5 and 33.
TAPE_ACCURACY_M: Final[float] = 0.003

#: Depth to which that accuracy is stated [m]; 200 ft, USGS TM 1-A1 p. 5 and 33. Beyond it, it grows with depth
#: (project default).
TAPE_ACCURACY_DEPTH_M: Final[float] = 60.96

#: Accuracy of the reference tape in a tape check [m]; 0.01 ft, USGS TM 1-A1 p. 5.
REFERENCE_TAPE_ACCURACY_M: Final[float] = 0.003

#: What an unchecked tape may be out by, per metre of depth [m/m]; 0.1 ft per 100 ft, USGS Pacific Islands Water
#: Science Center, "Possible errors associated with measured water levels" (archived page).
UNCHECKED_TAPE_SLOPE: Final[float] = 0.001

#: What a tape may be out by that was never checked, where other tapes of the record are checked [m]: a splice, or a
#: sensing point that is not at its zero; common practice, no source.
NEVER_CHECKED_TAPE_M: Final[float] = 0.1

#: What the mean temperature of a tape that is on record may be out by [degC] (project default).
TAPE_TEMPERATURE_HALF_WIDTH_DEGC: Final[float] = 2.0

#: Half-width of the tension correction of a tape, as a share of it (project default).
TENSION_CORRECTION_SHARE: Final[float] = 0.1

#: Accuracy of a surveyed measuring point when none is on record [m]; 0.1 ft, N.H. Env-Wq 403.30(b).
SURVEY_ACCURACY_M: Final[float] = 0.03

#: What a measuring point may move by in a year once its survey is older than the resurvey interval [m/a] (project
#: default): settlement and frost heave.
POINT_MOVEMENT_M_PER_YEAR: Final[float] = 0.005

#: Length of closed pipe below a screen that goes unrecorded [m] (project default): end caps and short sumps.
UNRECORDED_SUMP_M: Final[float] = 1.0

#: Water may be read this far below the bottom of a well [m]; 0.5 ft, USGS SJ-600027 p. 16 (accuracy of soundings).
BOTTOM_TOLERANCE_M: Final[float] = 0.15

#: Half-width of a product's relative density; half the span of the values in use (0.74 gasoline to 0.84 diesel),
#: San Joaquin County EHD document 471143 p. 7.
PRODUCT_DENSITY_HALF_WIDTH: Final[float] = 0.05

#: Same-day window of a site that states none [d]: the day itself; Wis. Adm. Code NR 716.15(4)(b).
SAME_DAY_WINDOW_DAYS: Final[float] = 0.0

#: Wells are gauged every so many days where the site says nothing [d]: quarterly, thirteen weeks (project default).
GAUGING_INTERVAL_DAYS: Final[float] = 91.0

#: Measuring points are surveyed again after so many days [d]: five years; USGS TM 1-A1 p. 23 (three to five years).
RESURVEY_INTERVAL_DAYS: Final[float] = 1826.0

#: Tapes are checked against the reference tape every so many days [d]: twelve months; USGS TM 1-A1 p. 8 and 35.
TAPE_CHECK_INTERVAL_DAYS: Final[float] = 365.0

#: Bottoms are sounded every so many days [d]: yearly; Lapham, Wilde and Koterba (1995), USGS OFR 95-398.
SOUNDING_INTERVAL_DAYS: Final[float] = 365.0

#: Loggers are visited every so many days [d] (project default).
LOGGER_VISIT_INTERVAL_DAYS: Final[float] = 90.0

#: Standard gravity [m/s2]; 3rd CGPM (1901), exact.
STANDARD_GRAVITY_M_S2: Final[float] = 9.80665

#: Density of water in the conventional columns of water [kg/m3]; NIST SP 811, appendix B, exact.
CONVENTIONAL_WATER_DENSITY_KG_M3: Final[float] = 1000.0

#: Gas constant of dry air [J/(kg K)]; ISO 2533:1975, standard atmosphere (from memory).
DRY_AIR_GAS_CONSTANT_J_KG_K: Final[float] = 287.05287

#: 0 degC in kelvin; exact by the definition of the degree Celsius.
ZERO_CELSIUS_K: Final[float] = 273.15

#: Water-level sensing must be accurate to this [m]; 0.01 ft. USGS TWRI 8-A3 (Freeman et al., 2004; from memory), as
#: restated on the project page of the USGS San Diego hydrogeology study, with the two that follow.
LOGGER_ACCURACY_M: Final[float] = 0.003048


#: Julian year [d]; drift is stated per year of this length.
DAYS_PER_YEAR: Final[float] = 365.25

# Loggers: clocks. All of these limits are our project default; they were looked at on open measured series.

#: Longest shift of a clock that is looked for [s]: 26 hours, the span of the world's time zones (project default).
CLOCK_LONGEST_LAG_S: Final[float] = 93_600.0

#: Least correlation of changes at which two clocks are compared (project default).
CLOCK_LEAST_CORRELATION: Final[float] = 0.2

#: How far the best shift's correlation must exceed every other's outside its peak (project default).
CLOCK_MARGIN: Final[float] = 0.1

#: Fewest pairs of changes from which a shift is determined (project default).
CLOCK_LEAST_PAIRS: Final[int] = 300

#: Half-width of the peak of a correlation [s] (project default): 90 minutes, so that one hour and two differ.
CLOCK_PEAK_HALF_WIDTH_S: Final[float] = 5_400.0

#: Windows in which a clock's shift is worked out to find jumps [d] (project default).
CLOCK_WINDOW_DAYS: Final[float] = 14.0

# Loggers: faults of a series. Limits of what is suggested to a person, never applied by itself.

#: A sample is a spike when it differs from both neighbours by so many times the usual change from sample to
#: sample (project default).
SPIKE_TIMES_NOISE: Final[float] = 15.0

#: ... and a series steps when a change is so many times the usual one ... (project default).
STEP_TIMES_NOISE: Final[float] = 25.0

#: Levels on both sides of a step are medians of so many samples (project default).
STEP_WINDOW: Final[int] = 12

#: Neighbours of a spike may differ by this share of its size; a step must last by the remainder (project default).
SPIKE_NEIGHBOUR_SHARE: Final[float] = 0.5

#: Longest spike [samples] (project default): a sensor lifted at a visit misses one to three samples.
SPIKE_LONGEST: Final[int] = 3

#: Fewest steps one way that are the teeth of a saw (project default).
LEAST_TEETH: Final[int] = 4

#: The usual change is a median over blocks of so many samples (project default).
NOISE_BLOCK: Final[int] = 96

#: A value that stays the same for longer than this is flat, where the air is part of it [s] (project default): air
#: pressure never rests for half a day at the resolution of a logger.
FLAT_WITH_AIR_S: Final[float] = 43_200.0

#: ... and where it is not [s] (project default): levels of a quiet aquifer may rest for days.
FLAT_WITHOUT_AIR_S: Final[float] = 604_800.0

#: A flat interval must be so many times longer than chance makes the longest one (project default).
FLAT_TIMES_CHANCE: Final[float] = 3.0

#: A series is pinned at its end when so many times more samples are there than right beside it (project default).
PINNED_TIMES_BESIDE: Final[float] = 10.0

#: ... and it rests there for at least this long [s] (project default).
PINNED_LEAST_S: Final[float] = 7_200.0

#: A sensor is in air when its column of water is less than this [m] (project default): accuracy of sensor and
#: barometer.
OUT_OF_WATER_M: Final[float] = 0.03

#: Fewest samples in a row that are reported as out of water, frozen or over range (project default).
LEAST_SAMPLES: Final[int] = 2

#: Share of an instrument's range by which a sample may exceed it before that is reported (project default).
OVER_RANGE_SHARE: Final[float] = 0.0

# Loggers: from samples to heads.

#: Longest time between two samples of a barometer that is interpolated over [s] (project default): a front moves the
#: air by some 100 Pa, 1 cm of water, within an hour.
BAROMETER_GAP_S: Final[float] = 7_200.0

#: Longest time between two samples of a sensor that is interpolated over at a manual reading [s] (project default).
MANUAL_READING_GAP_S: Final[float] = 7_200.0

#: A manual reading this long before the first or after the last sample of an installation is compared with that
#: sample [s] (project default): a sensor is installed and taken out within the visit.
MANUAL_READING_EDGE_S: Final[float] = 7_200.0

#: A gap is longer than so many usual intervals (project default).
GAP_TIMES_INTERVAL: Final[float] = 1.5

#: Longest time over which the water temperature is interpolated for the density [s] (project default).
TEMPERATURE_GAP_S: Final[float] = 86_400.0

#: How fast air pressure may move between two samples of a barometer [Pa/s] (project default): 100 Pa in an hour.
AIR_PRESSURE_RATE_PA_S: Final[float] = 100.0 / 3_600.0

#: What a sensor that only one manual reading holds may be out by [m]: 0.098 ft, the mean absolute error of six
#: submersible sensors over 15 months (Rosenberry, 1990, Ground Water; author and year from memory), taken twice for a
#: 95 % half-width (project default).
UNCHECKED_SENSOR_M: Final[float] = 0.06

#: What a hanging depth may be out by where there is no manual reading [m] (project default): cables are seldom known
#: better.
HANGING_DEPTH_ACCURACY_M: Final[float] = 0.05

#: Drift over the range of the levels at and above which an installation is reported as doubtful (project default); a
#: record of 1.8 ft drift against 3.4 ft range, 0.53, was rejected by its owners (CWCB document 123788, p. 12).
DRIFT_SHARE_LIMIT: Final[float] = 0.25

#: Faults smaller than this are not reported [m] (project default).
LEAST_FAULT_M: Final[float] = 0.03

#: Manual reading and sensor may differ by this before a residual is reported [m] (project default; no authority states
#: a number).
RESIDUAL_LIMIT_M: Final[float] = 0.05

#: Battery at or below this share of its charge is reported [%], and at or below this voltage [V] (project default).
BATTERY_LOW_PERCENT: Final[float] = 20.0
BATTERY_LOW_V: Final[float] = 3.0

#: A day needs this share of its usual samples for a daily mean (project default).
DAY_SHARE: Final[float] = 0.75

#: How the reason of a well begins that is left out of a map because another aquifer is its own.
OTHER_AQUIFER: Final = "taps another aquifer"

#: How the reason of a well begins that is left out because another well of its place is used.
ONE_WELL_A_PLACE: Final = "one well a place"

#: Wells from which on a report has a page an aquifer and annexes in place of every section for every well, where its
#: definition asks for that. Project default: up to it a quarterly has some 150 pages, of which a third are hydrographs
#: and a third tables of single wells; beyond it nobody reads them through, and none of its maps names every well.
LARGE_NETWORK_WELLS: Final[int] = 120

#: Kind of a control row that stands for a point of a river and not for a well or gauge.
RIVER_KIND: Final = "river"

#: Names of the calendar months.
MONTH_NAMES: Final[tuple[str, ...]] = tuple(
    "January February March April May June July August September October November December".split()
)
