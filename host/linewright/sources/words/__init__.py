"""A sentence becomes a drawing, composed from a store of line drawings of our own: no net, no model, at once.

The way of a sentence through this package::

    sentence -> who does what to whom (reading, with lexicon, verbs, kinds) -> groups (staging, with figure, poses, modifiers)
             -> one picture (arranging, with scenes) -> what can be seen of it (hiding) -> strokes in mm (way)

The store is drawn in a notation of its own (`script`), by theme in `store`; the user's own things come from `own`.
"""
