"""The protocol between laptop and board; runs unchanged on CPython and on MicroPython."""
