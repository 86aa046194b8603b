"""Starts the board.  Wiring only: which port, which build.

In the virtual rig this may run as a process of its own, on CPython or MicroPython:

    main.py DIGEST SESSION      the world's byte pipe is on standard input and output

DIGEST and SESSION as `lineboard.ports.virtual.main` says.
"""

import sys

from lineboard.ports.virtual import main

if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
