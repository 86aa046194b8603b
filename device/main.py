"""Starts the board.  Wiring only: which port, which build.

On a microcontroller, MicroPython runs this by itself.  In the virtual rig it may run as a process of its own, on
CPython or MicroPython:

    main.py DIGEST SESSION      the world's byte pipe is on standard input and output

DIGEST and SESSION as `lineboard.ports.virtual.main` says.
"""

import sys

if __name__ == "__main__":
    if sys.platform == "rp2":
        from lineboard.ports import rp2

        rp2.main()
    else:
        from lineboard.ports import virtual

        virtual.main(int(sys.argv[1]), int(sys.argv[2]))
