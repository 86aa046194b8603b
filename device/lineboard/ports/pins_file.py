"""The pins of the rig as they were last time, so that a board can make them safe before any host has spoken."""

NAME = "pins.txt"


def read(count):
    """That many pin numbers; None where there is no such file, or another one."""
    try:
        with open(NAME) as file:
            pins = [int(number) for number in file.read().split()]
    except (OSError, ValueError):
        return None
    return pins if len(pins) == count else None


def write(pins):
    """Keep them.  On a full flash they are not kept, and the drivers' own pull-ups have to do at the next start."""
    try:
        with open(NAME, "w") as file:
            file.write(" ".join([str(pin) for pin in pins]))
    except OSError:
        pass
