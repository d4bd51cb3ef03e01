"""Drawing: frames and results in, matplotlib figures out.

Each kind of figure has frozen plot data (plain numbers in metres, made and tested without drawing) and a function
that draws them. Nothing here knows the database; pyplot is never imported; the same data give the same bytes.
"""
