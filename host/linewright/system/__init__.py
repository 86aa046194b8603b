"""What differs between operating systems, one module for each topic: keys, locks, child processes, pipes, signals,
memory, drives.

Systems with the modules `termios` and `fcntl` are treated as POSIX, all others as Windows. The Windows and macOS
branches have run on Linux only, with those modules hidden and `msvcrt` replaced by a fake
(`tests/host/test_system.py`).
"""
