"""Starts the board.  Wiring only: which port, which build; and what to say where that is not possible.

MicroPython runs this by itself as the board starts.  It needs nothing but MicroPython itself, because it must work
where everything else is missing.
"""

import sys

# Both are written by whoever puts the code on the board (`linewright.board.flashing`), the digest last of all files.
_LIST_FILE = "files.txt"
_DIGEST_FILE = "digest.txt"
_PINS_FILE = "pins.txt"
# By this word the host knows plain text from noise.
_MARK = "linewright: "


def hold_drivers_off():
    """Motors off, before the second that it takes to load the rest: floating enable lines let many drivers run."""
    try:
        import machine

        # Kept by `lineboard.ports.pins`, which knows what the other numbers mean.
        with open(_PINS_FILE) as pins:
            number = int(pins.read().split()[0])
        if number >= 0:
            machine.Pin(number, machine.Pin.OUT, value=1)
    except (ImportError, AttributeError, OSError, ValueError, IndexError):
        pass  # a board that has not met its rig yet


def lacking():
    """What is missing for the board's code to start, in words; empty if nothing is."""
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
    """Say what is wrong to whoever asks (each frame ends with a zero), until somebody wants the prompt."""
    words = (_MARK + "the board's code cannot start: " + what + "\r\n").encode()
    before = 0
    while True:
        byte = read(1)[0]
        if byte == 0x03 and before == 0x0D:  # carriage return and Ctrl-C: no frame looks like that
            return
        if byte in (0x00, 0x0D):
            write(words)
        before = byte


def start():
    """Run the board's code until somebody wants the prompt."""
    hold_drivers_off()
    what = lacking()
    if not what:
        try:
            # Nothing else may be loaded before.
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
