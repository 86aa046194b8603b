"""Size of the machine code in a compiled file of the board (.mpy)."""

from __future__ import annotations

BLOCK_BYTES = 16
"""MicroPython's heap is given out in blocks of four words, on a board 16 bytes."""

BYTECODE, NATIVE = 0, 1  # kinds of code; the others are viper's and the assembler's
FUNCTION_TABLE, ELLIPSIS, STRING, BYTES, TUPLE = 0, 4, 5, 6, 10  # kinds of constants


class Reader:
    """Reads the format of MicroPython's py/persistentcode.c, version 6."""

    def __init__(self, data: bytes) -> None:
        if data[:2] != b"M\x06":
            raise ValueError(f"a file that begins with {data[:2]!r} is not one of version 6")
        self._data = data
        self._at = 4

    def machine_code_bytes(self) -> int:
        """Bytes that its machine code takes of a board's heap."""
        qstrs, constants = self._number(), self._number()
        for _ in range(qstrs):
            length = self._number()
            if length & 1 == 0:
                self._at += (length >> 1) + 1
        for _ in range(constants):
            self._skip_constant()
        total = self._code()
        if self._at != len(self._data):
            raise ValueError(f"{len(self._data) - self._at} bytes are left behind the code")
        return total

    def _number(self) -> int:
        value = 0
        while True:
            byte = self._data[self._at]
            self._at += 1
            value = value << 7 | byte & 127
            if byte < 128:
                return value

    def _skip_constant(self) -> None:
        kind = self._data[self._at]
        self._at += 1
        if FUNCTION_TABLE <= kind <= ELLIPSIS:
            return
        length = self._number()
        if kind == TUPLE:
            for _ in range(length):
                self._skip_constant()
        else:
            self._at += length + (kind in (STRING, BYTES))

    def _code(self) -> int:
        head = self._number()
        kind, has_children, length = head & 3, head & 4, head >> 3
        self._at += length
        total = 0
        if kind != BYTECODE:
            total = -(-length // BLOCK_BYTES) * BLOCK_BYTES
            self._number()  # where the prelude is, or viper's flags
        if has_children:
            total += sum(self._code() for _ in range(self._number()))
        return total
