"""Duration of ramps on the board in whole ticks: the kernel's formula for whole arrays.

The board's kernel (`lineboard.kernel.load`) and this module evaluate the same integer formula, so the host knows every
duration exactly. The formula is ``T = 2 d / (v0 + v1)``, the time of a straight move with constant acceleration, in
integer steps that fit 32 bits on the board.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineboard.kernel import MAX_SPEED, MAX_STEPS, TICK_HZ

# 2 * TICK_HZ = 78125 * 2^7, and the length per step carries 14 fractional bits.
_TICKS_MANTISSA = 2 * TICK_HZ >> 7
_LENGTH_BITS = 14
# Ramps calculated at a time: their intermediate values fit the processor's cache.
_AT_ONCE = 16_384


def _bit_length(values: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of bits of positive integers below 2^53."""
    return np.frexp(values.astype(np.float64))[1].astype(np.int64)


def _shift(values: NDArray[np.int64], by: NDArray[np.int64]) -> NDArray[np.int64]:
    """Shift left by ``by`` where positive, right where negative."""
    return np.where(by >= 0, values << np.maximum(by, 0), values >> np.maximum(-by, 0))


def ramp_ticks(da: ArrayLike, db: ArrayLike, v_start: ArrayLike, v_end: ArrayLike) -> NDArray[np.int64]:
    """Duration of ramps in ticks of 200 ns, exactly as the board plays them.

    Parameters
    ----------
    da, db : (m,) int, signed whole steps of motors A and B, at most 16383 each, not both 0.
    v_start, v_end : (m,) int, path speed in motor step space at both ends, steps/s, 0..131071, not both 0.

    Returns
    -------
    (m,) int64, ticks.

    Raises
    ------
    ValueError : an argument is out of range.
    """
    columns = [np.asarray(column) for column in (da, db, v_start, v_end)]
    if len(columns[0]) > _AT_ONCE:
        blocks = range(0, len(columns[0]), _AT_ONCE)
        return np.concatenate([ramp_ticks(*(column[low : low + _AT_ONCE] for column in columns)) for low in blocks])
    a = np.abs(np.asarray(da, dtype=np.int64))
    b = np.abs(np.asarray(db, dtype=np.int64))
    v0 = np.asarray(v_start, dtype=np.int64)
    v1 = np.asarray(v_end, dtype=np.int64)
    n = np.maximum(a, b)
    top = np.maximum(v0, v1)
    if n.size == 0:
        return np.zeros(n.shape, dtype=np.int64)
    if n.min() < 1 or n.max() > MAX_STEPS:
        raise ValueError(f"a ramp must have 1 to {MAX_STEPS} steps of its dominant motor, not {n.min()}..{n.max()}")
    if top.min() < 1 or top.max() > MAX_SPEED or min(v0.min(), v1.min()) < 0:
        raise ValueError(f"a ramp needs a speed between 1 and {MAX_SPEED} steps/s at one end at least")

    s = 15 - _bit_length(top)  # brings the larger speed to 15 bits
    both_speeds = _shift(v0, s) + _shift(v1, s)

    x_shift = 15 - _bit_length(n)
    x = n << x_shift
    y = np.minimum(a, b) << x_shift
    h = np.sqrt((x * x + y * y).astype(np.float64)).astype(np.int64)  # exact floor: the sum is below 2^31
    rho = (h << _LENGTH_BITS) // x
    per_step = _shift(_TICKS_MANTISSA * rho, s - (_LENGTH_BITS - 7))
    return np.asarray(n * per_step // both_speeds)
