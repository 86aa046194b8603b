"""The pulse player: a program for one PIO state machine of RP2040 or RP2350, and its timing.

It runs at 25 MHz, five cycles a tick: its few fixed instructions take less than three ticks per word, and it is a whole
divisor of 125, 150, 200 and 225 MHz. Fractional dividers would make it jitter.

While a program is assembled, `rp2.asm_pio` replaces this module's global names by instruction names.
"""
# ruff: noqa: F821 -- names of instructions
# mypy: ignore-errors

import rp2

from linewire.compat import const

PIO_HZ = const(25_000_000)
CYCLES_PER_TICK = const(5)
_CYCLE_NS = const(40)
_FIXED = const(13)  # cycles of a word beyond its wait, set-up and width: the column in `assemble`


def timing(step_width_ns, direction_setup_ns):
    """Ticks of a word beyond its wait, and the cycles of set-up and width for these settings."""
    setup = (direction_setup_ns + _CYCLE_NS - 1) // _CYCLE_NS
    width = (step_width_ns + _CYCLE_NS - 1) // _CYCLE_NS
    overhead = (_FIXED + setup + width + CYCLES_PER_TICK - 1) // CYCLES_PER_TICK
    return overhead, setup, width


def assemble(overhead, setup, width):
    """The program for the result of `timing`; up to 1057 cycles (42 us) of set-up and of width.

    A word is ``wait << 4 | dir_b << 3 | dir_a << 2 | step_b << 1 | step_a``; the pins are four in a row, in this order
    from the highest down.  From `pull` to `pull` it takes (wait + overhead) ticks.
    """
    pad = overhead * CYCLES_PER_TICK - _FIXED - setup - width

    def hold(cycles, name):
        # The instruction before has taken one of the cycles. x is free here.
        cycles -= 1
        rounds = (cycles - 1) // 32
        if cycles <= 0:
            return
        if rounds == 0:
            nop()[cycles - 1]
            return
        set(x, rounds - 1)[cycles - 1 - 32 * rounds]
        label(name)
        jmp(x_dec, name)[31]

    @rp2.asm_pio(
        out_init=(rp2.PIO.OUT_LOW,) * 4,
        set_init=(rp2.PIO.OUT_LOW,) * 2,
        in_shiftdir=rp2.PIO.SHIFT_LEFT,
        out_shiftdir=rp2.PIO.SHIFT_RIGHT,
        fifo_join=rp2.PIO.JOIN_TX,
    )
    def player():
        wrap_target()
        pull(block)  #            1  waits here while there is no word
        mov(y, osr)  #            1  y = the word; its four lowest bits are the pins
        out(null, 2)  #           1
        mov(isr, osr)  #          1
        in_(null, 2)  #           1  isr = the word without step bits
        out(null, 2)  #           1
        mov(x, osr)  #            1  x = wait
        label("wait")
        jmp(x_dec, "wait")[4]  #  5  and as many for every tick of wait
        mov(pins, isr)  #         .  directions are set
        hold(setup, "setup")
        mov(pins, y)  #           .  steps rise
        hold(width, "width")
        set(pins, 0)[pad]  #      1  steps fall (`set` reaches no other pins); the padding is up to four cycles
        wrap()

    return player
