"""Series of sensors: air pressure, clocks, drift, faults, intervals that are no levels."""
