"""Starts the board: chooses the port and the build, and answers in plain text if that is impossible.

MicroPython runs this file at start. It needs only MicroPython itself, because it must work when all other files are
missing.
"""

import sys

# Both are written when the code is copied to the board (`linewright.board.flashing`), the digest last of all files.
_LIST_FILE = "files.txt"
_DIGEST_FILE = "digest.txt"
_PINS_FILE = "pins.txt"
# This word lets the host distinguish plain text from noise.
_MARK = "linewright: "


def hold_drivers_off():
    """Motors off before loading the rest, which takes a second: floating enable lines switch many drivers on."""
    try:
        import machine

        # Written by `lineboard.ports.pins`, which knows the meaning of the other numbers.
        with open(_PINS_FILE) as pins:
            number = int(pins.read().split()[0])
        if number >= 0:
            machine.Pin(number, machine.Pin.OUT, value=1)
    except (ImportError, AttributeError, OSError, ValueError, IndexError):
        pass  # the board has not had settings yet


def lacking():
    """Description of what is missing for the board's code; empty if nothing is."""
    import os

    def there(name):
        try:
            os.stat(name)
        except OSError:
            return False
        return True

    if there(_DIGEST_FILE):
        return ""
    missing = []
    if there(_LIST_FILE):
        with open(_LIST_FILE) as lines:
            for line in lines:
                name = line.split()[-1]
                if not there(name):
                    missing.append(name)
    if missing:
        return "{} of its files are missing, such as {}".format(len(missing), missing[0])
    return "copying it was interrupted"


def explain(what, read, write):
    """Answer every frame (each ends with a zero) with an explanation, until the prompt is requested."""
    words = (_MARK + "the board's code cannot start: " + what + "\r\n").encode()
    before = 0
    while True:
        byte = read(1)[0]
        if byte == 0x03 and before == 0x0D:  # carriage return and Ctrl-C: not part of any frame
            return
        if byte in (0x00, 0x0D):
            write(words)
        before = byte


def start():
    """Run the board's code until the prompt is requested."""
    hold_drivers_off()
    what = lacking()
    if not what:
        try:
            # Must be loaded first.
            from lineboard import memory

            memory.reserve()
            if sys.platform == "rp2":
                from lineboard.ports import rp2 as port
            else:
                from lineboard.ports import portable as port
            port.main()
            return
        except KeyboardInterrupt:
            return
        except Exception as problem:
            what = "{}: {}".format(type(problem).__name__, problem)
    import micropython

    micropython.kbd_intr(-1)
    try:
        explain(what, sys.stdin.buffer.read, sys.stdout.buffer.write)
    finally:
        micropython.kbd_intr(3)


if __name__ == "__main__":
    start()
