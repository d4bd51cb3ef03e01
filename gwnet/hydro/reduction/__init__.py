"""From readings to elevations: tape, measuring point, water, uncertainty, intervals in force."""
