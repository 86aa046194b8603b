"""What a person asks for, done whole: plan this, draw it, carry on, make the machine true.

Nothing here knows a terminal or a page. Whoever asks gives a `Front`, which is told how the work goes, is asked what
only a person knows, and may end it; results are values.
"""
