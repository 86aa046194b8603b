"""Tasks: complete operations such as planning, drawing, resuming and calibrating.

They are independent of terminal and page. The caller passes a `Front`, which receives progress, answers questions, and
may cancel; results are values.
"""
