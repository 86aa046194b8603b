"""Starts the board.  Wiring only: which port, which build, and the loop.

In the virtual rig this runs as a process of its own, on CPython or MicroPython:

    main.py DIGEST SESSION      the world's byte pipe is on standard input and output

DIGEST is that of the shipped files (`linewright.board_files.digest`), SESSION a number from 1 to 65535 that
no two starts in a row share.
"""

import sys

from lineboard.board import Board
from lineboard.ports.virtual import PipeWorld, VirtualPort

if __name__ == "__main__":
    world = PipeWorld(sys.stdin.buffer, sys.stdout.buffer)
    Board(VirtualPort(world), int(sys.argv[1]), int(sys.argv[2])).run()
