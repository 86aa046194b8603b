"""Differences between CPython and MicroPython, and wrap-safe time arithmetic.

Viper functions are written once. Under MicroPython the literal decorator ``@micropython.viper`` compiles them to
machine code; here, under CPython, the decorator returns the function as it is and the pointer casts return the buffer
as it is. A plain ``array`` is already strict in two ways that matter: it refuses an index past its end and a value that
does not fit its type. The tests add a third, overflow of 32-bit intermediates, by calling the same functions with
checked integers.
"""

try:
    import gc

    import micropython
    from micropython import const

    collect = gc.collect

    # Viper knows these names itself; the assignments only satisfy imports under CPython.
    ptr8 = ptr16 = ptr32 = uint = int
except ImportError:

    class micropython:  # noqa: N801 -- replaces the module of that name
        """The parts of MicroPython's ``micropython`` module that our code uses."""

        @staticmethod
        def viper(function):
            """Returns the function unchanged under CPython."""
            return function

        native = viper

        @staticmethod
        def heap_lock():
            """Does nothing: CPython's heap cannot be locked."""
            return None

        @staticmethod
        def heap_unlock():
            """Does nothing: CPython's heap cannot be locked."""
            return None

        @staticmethod
        def kbd_intr(_character):
            """Does nothing: CPython has its own keyboard interrupt."""
            return None

    def const(value):
        return value

    def collect():
        """Does nothing: CPython frees unused objects at once, and a full collection of a large process takes a
        second.
        """
        return None

    def ptr8(buffer):
        return buffer

    ptr16 = ptr32 = ptr8

    def uint(value):
        return value


# Microsecond counters of the boards wrap after 2^30 us, which is 17.9 minutes. On a 32-bit board, integers of 2^30 and
# above are heap objects, so nothing below computes with them.
TICKS_PERIOD = const(1 << 30)
_LAST = const((1 << 30) - 1)
_HALF = const(1 << 29)


def ticks_add(ticks_us, delta_us):
    """``ticks_us`` advanced by ``delta_us`` (within +-2^29), wrapped to 0..2^30-1."""
    if delta_us > _LAST - ticks_us:
        return ticks_us - _LAST - 1 + delta_us
    return (ticks_us + delta_us) & _LAST


def ticks_diff(later_us, earlier_us):
    """Signed microseconds from ``earlier_us`` to ``later_us``, which are less than 2^29 us (8.9 min) apart."""
    difference = later_us - earlier_us
    if difference >= _HALF:
        return difference - _HALF - _HALF
    if difference < -_HALF:
        return difference + _HALF + _HALF
    return difference
