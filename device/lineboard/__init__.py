"""The board's code: plays ramps as exactly timed pulses, moves the pen, supervises the endstops."""
