"""Bring-up: first tests of a wired machine that has never moved, in a safe order.

`steps` is the table of steps: preparation, expected result, remedies, and the steps required before. `dialogue` runs
through the table without a terminal: it talks to a `Person`, which is a user at a keyboard, a test, or the program that
writes the documentation. `hands` has all operations on the machine, `notebook` stores the results, so that bring-up can
be continued another day.
"""
