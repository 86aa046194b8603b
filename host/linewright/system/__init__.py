"""What differs between systems, one module for each: keys, locks, children, pipes, signals, memory, drives.

POSIX is what has the modules `termios` and `fcntl`; everything else is taken for Windows. No Windows or macOS was at
hand: the other branches have run on Linux alone, with those modules hidden and `msvcrt` played by a fake
(`tests/host/test_system.py`).
"""
