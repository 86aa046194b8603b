"""Trial sheets: drawings to be measured, and the corrections that follow from the measurements.

::

catalogue list of the sheets page marks, combs and labels as strokes design a sheet: parts to draw, entries to fill in
lengths combs edges heights ladders waves returns one sheet or family of sheets each: design and fit form the entries as
a file to be filled in squares least squares with uncertainty finding results: before, after, uncertainty

Each family has two functions: ``design`` makes the sheet for a rig, ``fit`` computes a `Finding` from the answers.
"""
