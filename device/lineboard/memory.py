"""Large arrays, taken from the heap before anything else and without temporaries.

MicroPython's heap never moves what lies in it, and loading modules leaves it full of small holes.  So `reserve` takes
the large arrays first, while the heap is whole, and `zeros` hands them out as the parts of the board are put together.
`array(kind, [0] * n)` would take twice the room for a moment, the list in one piece.
"""

from array import array

# Kind and size of what `lineboard.feeder` asks for: the record queue, and blocks of pulse words.
_SIZES = (("i", 1024), ("i", 1024), ("H", 1024), ("H", 1024)) + 8 * (("i", 512),)
_reserved = []  # type: list


def reserve():
    """Reserve the memory that `zeros` hands out later.  Call it before other modules are imported."""
    for kind, count in _SIZES:
        _reserved.append((kind, count, _new(kind, count)))


def zeros(kind, count):
    """array(kind) of so many zeros: one that was reserved, or a new one."""
    for i in range(len(_reserved)):
        if _reserved[i][0] == kind and _reserved[i][1] == count:
            return _reserved.pop(i)[2]
    return _new(kind, count)


def _new(kind, count):
    made = array(kind, range(count))  # a range says how long it is, so the array is made once, in its full size
    i = 0
    while i < count:
        made[i] = 0
        i += 1
    return made
