"""The levels of a well over the years: values by period, trends, steps, threshold dates, seasons, decomposition."""
