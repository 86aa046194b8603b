"""Large arrays, reserved on the heap before anything else, without temporaries.

MicroPython's heap is never compacted, and loading modules leaves it fragmented. So `reserve` takes the large arrays
first, and `zeros` returns them while the parts of the board are created. `array(kind, [0] * n)` would temporarily need
twice the memory, the list in one block.
"""

from array import array

# Kind and size of the arrays of `lineboard.feeder`: the record queue, and blocks of pulse words.
_SIZES = (("i", 1024), ("i", 1024), ("H", 1024), ("H", 1024)) + 8 * (("i", 512),)
_reserved = []  # type: list


def reserve():
    """Reserve the memory that `zeros` returns later. Call before other modules are imported."""
    for kind, count in _SIZES:
        _reserved.append((kind, count, _new(kind, count)))


def zeros(kind, count):
    """array(kind) of `count` zeros: a reserved one, or a new one."""
    for i in range(len(_reserved)):
        if _reserved[i][0] == kind and _reserved[i][1] == count:
            return _reserved.pop(i)[2]
    return _new(kind, count)


def _new(kind, count):
    made = array(kind, range(count))  # a range has a length, so the array is allocated once, in its full size
    i = 0
    while i < count:
        made[i] = 0
        i += 1
    return made
