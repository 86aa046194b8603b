"""The virtual rig: the board's code on a simulated machine, in virtual time.

- `machine`, `faults`: the rig and its faults.
- `world`: time, player, carriage and endstops, as the board's port sees them; `wires`: the link, and how time passes.
- `process`, `pipe`, `launcher`: the rig as a process under CPython or MicroPython, and the code that starts it.
- `tape`: a file of everything played; `replay` reads it with `pulse_checks`, `mechanics` (the
    pen's true path) and `deviation` (distance from the plan), all in `linewright.simulation`.
- `harness`: host, wire, board and world in one process and in virtual time, for tests and experiments.
"""
