"""Drawing: frames and results in, matplotlib figures out.

Each kind of figure has frozen plot data (plain numbers in metres, made and tested without drawing) and a function
that draws them. Nothing here knows the database; pyplot is never imported; the same data give the same bytes.

A function that draws returns the figure or its pages; `gwnet.figures.base.style.save` writes them.

Parameters
----------
data : plot data
    What to draw.
size_mm : tuple of float, optional
    Width and height [mm].
well : str
    Code of the well.
site : mapping or pandas.Series, optional
    Row of the sites frame.
known_on : datetime.datetime, optional
    Record as known at this time.

A unit that is not a display unit raises `SettingsError`.
"""
