"""Reports: what they say (content), how they are set (PDF, plain text) and what travels with them.

Parameters
----------
view : ReportView
    The report's look at the record.
frame : FigureFrame
    Room on the page.
"""
