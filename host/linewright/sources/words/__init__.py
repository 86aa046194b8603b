"""Draws English sentences from a built-in store of line drawings, without a neural network.

Stages::

    sentence -> who does what to whom (reading, with lexicon, verbs, kinds) -> groups (staging, with figure, poses, modifiers)
             -> one picture (arranging, with scenes) -> what can be seen of it (hiding) -> strokes in mm (way)

Drawings of the store are written in the notation of `script`, one module per theme in `store`; `own` loads the user's
things.
"""
