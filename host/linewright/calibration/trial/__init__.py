"""Trial sheets: drawings made to be measured, what to measure on them, and what follows from it.

::

    catalogue   which sheets there are
    page        marks, combs and labels as strokes        design   a sheet: parts to draw, entries to fill in
    lengths  combs  edges  heights  ladders  waves  returns        one sheet or family of sheets each: drawn and fitted
    form        the entries as a file, and what people write into it
    squares     least squares with uncertainty            finding  what was found: before, after, how surely

Each family has two functions: ``design`` makes the sheet for a rig, ``fit`` turns answers into a `Finding`.
"""
