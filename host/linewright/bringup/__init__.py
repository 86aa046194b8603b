"""Bring-up: from a machine that is wired but has never moved to one that can be trusted, in a safe order.

`steps` is the table: what each step prepares, what should happen, what to do if it does not, and what must have been
done before it. `dialogue` walks through the table and knows no terminal: it talks to a `Person`, who may be somebody at
a keyboard, a test, or the program that writes the walk in the documents. `hands` is everything that is done to the
machine, `notebook` what was found so far, so that one may stop and carry on another day.
"""
