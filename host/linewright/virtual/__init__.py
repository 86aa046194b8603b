"""The virtual rig: the board's own code on a simulated machine, in virtual time.

- `machine`, `faults`: what the rig is like, and what is wrong with it.
- `world`: time, player, carriage and endstops, as the board's port sees them; `wires`: the link, and how time passes.
- `process`, `pipe`, `launcher`: the rig as a process under CPython or MicroPython, and the code that starts it.
- `tape`: everything that was played, on disk; `trace`: reads it back with `checks` (every pulse), `mechanics` (where
  the pen really went) and `deviation` (how far from the plan).
- `harness`: host, wire, board and world in one process and in virtual time alone, for tests and experiments.
"""
