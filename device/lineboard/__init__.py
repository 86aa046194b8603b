"""The board's side: plays ramps as exactly timed pulses, moves the pen, watches the endstops."""
