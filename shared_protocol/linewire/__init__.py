"""The wire between the laptop and the board; runs unchanged on CPython and on MicroPython."""
