"""`DeskMachine`: the thread that owns the one session with the board and carries out the page's wishes.

A wish is a function of the connected machine. Between wishes the board's state is polled a few times a second, to keep
the page current, to notice a lost board, and to keep the link alive.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from linewright.desk.page_words import on_page
from linewright.errors import BoardFault, LinewrightError, LinkError, Refused
from linewright.tasks.front import Cancelled
from linewright.tasks.target import VIRTUAL

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.session_values import Control, Progress
    from linewright.board.status import BoardStatus
    from linewright.desk.questions import DeskNotes, Questions
    from linewright.desk.screen import Screen
    from linewright.tasks.target import Target

LOOK_S: Final = 0.25
"""Polling interval of an idle board."""

AGAIN_S: Final = 2.0
"""Interval of attempts to reconnect."""


@dataclass(frozen=True)
class MachineWish:
    """A job for the machine's thread.

    Parameters
    ----------
    kind : a waiting wish of kind "jog" is replaced by a newer one.
    busy : description shown while it runs.
    do : does it, in the machine's thread.
    undone : called with the reason if it is not begun because no machine is connected.
    """

    kind: str
    busy: str
    do: Callable[[Met], None]
    undone: Callable[[LinewrightError], None] = lambda _why: None


@dataclass(frozen=True)
class Met:
    """The connected machine.

    Parameters
    ----------
    target : as connected, with the data reported by its board.
    meant : with its latest rig.
    """

    session: Session
    target: Target
    meant: Target

    def at(self, target: Target) -> Target:
        """This machine with another rig: the one that a drawing was planned for."""
        return replace(target, port=self.target.port, board=self.target.board, unique=self.target.unique)


@dataclass
class DeskFront:
    """A `Front` of the tasks that asks the user at the page.

    Parameters
    ----------
    told : called with the current step and the fraction done.
    on_progress : called with a drawing's progress, in the machine's thread.
    control : of the current drawing; None: none.
    has_first_pen : the user has confirmed already that the first pen is inserted.
    """

    notes: DeskNotes
    questions: Questions
    told: Callable[[str, float | None], None]
    on_progress: Callable[[Progress], None] = lambda _now: None
    control: Control | None = None
    has_first_pen: bool = False
    stopping: threading.Event = field(default_factory=threading.Event)

    def machine(self, target: Target) -> None:
        """See `Front.machine`."""

    def note(self, text: str) -> None:
        """See `Front.note`."""
        self.notes.add("note", text)

    def say(self, text: str) -> None:
        """See `Front.say`."""
        self.notes.add("said", text)

    def progress(self, doing: str, done: float | None = None) -> None:
        """See `Front.progress`."""
        if self.stopping.is_set():
            raise Cancelled("stopped")
        self.told(doing, done)

    def confirm(self, question: str, about: str) -> bool | None:
        """See `Front.confirm`."""
        return bool(self.questions.ask("yes", question, about=about))

    def ready(self, what: str) -> bool:
        """See `Front.ready`."""
        if self.has_first_pen:
            self.has_first_pen = False
            return True
        return bool(self.questions.ask("done", what, about=""))

    @contextmanager
    def steering(self, control: Control, pace: float) -> Iterator[Callable[[Progress], None]]:
        """See `Front.steering`."""
        del pace
        self.control = control
        if self.stopping.is_set():
            control.abandon()
        try:
            yield self.on_progress
        finally:
            self.control = None


class DeskMachine:
    """The machine of the desk.

    Parameters
    ----------
    target : the machine and its port.
    changed : called when another machine or rig file is chosen.
    """

    def __init__(
        self,
        target: Target,
        screen: Screen,
        notes: DeskNotes,
        questions: Questions,
        changed: Callable[[Target], None],
    ) -> None:
        self.target = target
        self.real_time = False
        self._screen = screen
        self._notes = notes
        self._questions = questions
        self._changed = changed
        # With the number of the choice of machine; the first entry of a choice has no wish.
        self._wishes: queue.Queue[tuple[int, MachineWish | None]] = queue.Queue()
        self._chosen = 0  # how often another machine has been chosen
        self._held = 0  # the choice that the machine's thread has reached
        self._jog: MachineWish | None = None
        self._front: DeskFront | None = None
        self._wanted = True  # to be connected
        self._closing = False
        self._leave = False  # the session is to be left, to open another
        self._cuts = False  # the current wish is to end with the motors off
        self._unwinding = False  # the wish has been told to end; do not repeat it
        self._shown: dict[str, Any] = {}
        self.ports: list[dict[str, Any]] = []
        self.ports_looking = False
        self.rigs: list[dict[str, Any]] = []
        self.rig_id = ""
        self._trouble = ""
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, daemon=True, name="desk machine")
        self._show("connecting", "Looking for the machine")

    # Called for the page, from any thread

    def start(self) -> None:
        """Connect."""
        self._thread.start()

    def close(self) -> None:
        """Stop the machine, raise the pen and close the port; waits until done."""
        self._closing = True
        self.stop()
        self._questions.withdraw()
        self._put(None)
        if self._thread.is_alive():
            self._thread.join(15.0)

    def ask(self, wish: MachineWish) -> None:
        """Carry out a wish after those before it.

        Raises
        ------
        LinkError : the machine is drawing, or busy with another long task.
        """
        busy = self.busy
        if busy and (wish.kind != "jog" or self._front is None or busy != "Moving"):
            raise LinkError(f"the machine is busy: {busy}", hint="wait for it, or stop it")
        if wish.kind == "jog":
            with self._lock:
                if self._jog is not None:
                    self._jog = wish
                    return
                self._jog = wish
            wish = MachineWish(
                "jog",
                "Moving",
                lambda met: self._take_jog().do(met),
                lambda why: self._take_jog().undone(why),
            )
        self._put(wish)

    def _put(self, wish: MachineWish | None) -> None:
        with self._lock:
            self._wishes.put((self._chosen, wish))

    def _take_jog(self) -> MachineWish:
        with self._lock:
            wish, self._jog = self._jog, None
        assert wish is not None
        return wish

    @property
    def busy(self) -> str:
        """Description of what the machine does; "": idle."""
        return str(self._shown.get("busy") or "")

    @property
    def position_mm(self) -> list[float] | None:
        """Position of the pen, machine mm; None: unknown."""
        found: list[float] | None = self._shown.get("position_mm")
        return found

    @property
    def pen_up(self) -> bool | None:
        """Whether the pen is raised; None: unknown."""
        return self._shown.get("pen_up")

    @property
    def front(self) -> DeskFront | None:
        """The front of the current wish."""
        return self._front

    def stop(self) -> None:
        """End the current wish in a controlled way, pen up."""
        front = self._front
        if front is None:
            return
        front.stopping.set()
        control = front.control
        if control is not None:
            control.abandon()
        self._questions.withdraw()

    def cut(self) -> None:
        """Motors off immediately."""
        front = self._front
        control = None if front is None else front.control
        if control is not None:
            control.cut()
            return
        self._put(MachineWish("cut", "Switching the motors off", lambda met: met.session.cut()))
        if front is not None:
            self._cuts = True
            self.stop()

    def connect(self, target: Target | None, *, real_time: bool = False) -> None:
        """Connect this machine, or none if None. Wishes waiting for the previous machine are done first."""
        if self.busy:
            raise LinkError(f"the machine is busy: {self.busy}", hint="wait for it, or stop it")
        with self._lock:
            self._chosen += 1
            self.real_time = real_time
            self._wanted = target is not None
            if target is not None:
                self.target = target
        self._put(None)
        self._changed(self.target)

    def describe_rig(self, target: Target) -> None:
        """Announce a change of the connected machine's rig file."""
        self.target = target
        self._changed(target)

    # The machine's thread

    def _run(self) -> None:
        while not self._closing:
            self._leave = False
            with self._lock:
                self._held = self._chosen
                wanted, target, real_time = self._wanted, self.target, self.real_time
            if not wanted:
                self._show("off", "No machine is connected")
                self._refuse(self._of_this(*self._wishes.get()), LinkError("no machine is connected"))
                continue
            try:
                self._hold(target, real_time)
            except LinewrightError as error:
                self._lost(error)
            except Cancelled:
                continue

    def _hold(self, target: Target, real_time: bool) -> None:
        """Stay connected until an error occurs or another machine is chosen."""
        from linewright.tasks.connection import holding

        self._show("connecting", f"Looking for {target.name}")
        front = DeskFront(self._notes, self._questions, lambda *_: None)
        opened = replace(target, port="virtual:real_time=1") if real_time and target.port == VIRTUAL else target
        with holding(opened, front) as (session, met_at):
            session.greet()
            session.talk.on_turn = self._end_if_stopped
            self._trouble = ""
            with self._lock:
                # The board's identity also tells whether it is a virtual rig.
                is_news = self._held == self._chosen and met_at.board != target.board
                if is_news:
                    target = self.target = replace(self.target, board=met_at.board, unique=met_at.unique)
            if is_news:
                self._changed(target)
            self._notes.add("said", met_at.words)
            self._look(session)
            while not (self._leave or self._closing):
                wish = self._next_wish(session)
                with self._lock:
                    if self._held == self._chosen:
                        target = self.target
                if session.rig != target.rig:
                    session.use(target.rig)
                if wish is not None:
                    self._do(wish, Met(session, met_at, target))
                self._look(session)

    def _next_wish(self, session: Session) -> MachineWish | None:
        until_s = time.monotonic() + LOOK_S
        while time.monotonic() < until_s:
            try:
                return self._of_this(*self._wishes.get_nowait())
            except queue.Empty:
                session.talk.turn()
        return None

    def _do(self, wish: MachineWish, met: Met) -> None:
        """Carry a wish out; errors are shown, and the machine stays connected."""
        front = DeskFront(self._notes, self._questions, self._doing)
        self._unwinding = self._cuts = False
        self._front = front
        self._show_busy(wish.busy)
        try:
            wish.do(met)
        except Cancelled as cancelled:
            if not self._cuts:
                met.session.stop()
            self._notes.add("said", str(cancelled) or "stopped")
        except (BoardFault, Refused) as error:
            self._notes.add("error", str(error), error.hint)
        except LinkError as error:
            self._notes.add("error", str(error), error.hint)
            if met.session.talk.endpoint.parted:
                raise
            # Many link errors are not the board's fault, such as an unknown position; the next poll shows whether it is
            # there.
        except LinewrightError as error:
            self._notes.add("error", str(error), error.hint)
        except EOFError:
            self._notes.add("said", "stopped")
        finally:
            self._front = None
            self._show_busy(None)

    def _end_if_stopped(self) -> None:
        """Raise at the next turn of the link if the user has stopped the current wish; a drawing is stopped by its
        control instead.
        """
        front = self._front
        if front is not None and front.stopping.is_set() and front.control is None and not self._unwinding:
            self._unwinding = True
            raise Cancelled("stopped")

    def _doing(self, doing: str, done: float | None) -> None:
        share = "" if done is None else f", {done:.0%}"
        self._show_busy(f"{doing[:1].upper()}{doing[1:]}{share}")

    def _look(self, session: Session) -> None:
        """Show the machine's state."""
        try:
            report = session.fresh_report()
        except BoardFault:
            report = session.report()  # an unsolicited message; the report says the same
        from linewright.board.status import BoardStatus

        greeting = session.greeting
        assert greeting is not None, "the session has greeted"
        self._show_status(BoardStatus.of(greeting, report, session.rig))

    def _lost(self, error: LinewrightError) -> None:
        """The machine is lost or missing: show it, and try to reconnect at intervals."""
        self._show("lost", f"{str(error)[:1].upper()}{str(error)[1:]}", hint=on_page(error.hint))
        if str(error) != self._trouble:  # shown once, not at every attempt
            self._notes.add("error", str(error), error.hint)
        self._trouble = str(error)
        until_s = time.monotonic() + AGAIN_S
        while not (self._leave or self._closing):
            left_s = until_s - time.monotonic()
            try:
                self._refuse(self._of_this(*self._wishes.get(timeout=max(left_s, 0.01))), error)
            except queue.Empty:
                return

    def _of_this(self, choice: int, wish: MachineWish | None) -> MachineWish | None:
        """A wish if it is meant for the connected machine; one for an earlier machine is refused."""
        if choice > self._held:
            self._leave = True
        elif choice < self._held:
            self._refuse(wish, LinkError("another machine was chosen meanwhile"))
        else:
            return wish
        return None

    def _refuse(self, wish: MachineWish | None, why: LinewrightError) -> None:
        """Show that a wish is refused."""
        if wish is not None:
            self._notes.add("error", f"that was not done: {why}", why.hint)
            wish.undone(why)

    # State shown on the page

    def _show_status(self, status: BoardStatus) -> None:
        state = "unhomed" if status.state == "ready" and not status.position_trusted else status.state
        words = {
            "asleep": "The motors are free, and the board waits",
            "unhomed": "Not homed yet; it homes by itself before it draws",
            "ready": "Ready",
            "drawing": "Drawing",
            "holding": "Held, pen up",
            "faulted": f"The board has stopped itself: {status.fault}",
        }.get(state, state)
        self._show(
            state,
            words,
            board=status.board,
            position_mm=None if status.position_mm is None else list(status.position_mm),
            pen_up=status.pen_up,
            motors_on=status.motors_on,
            endstop_x=status.endstop_x,
            endstop_y=status.endstop_y,
            fault=None if status.fault == "none" else status.fault,
            hint="see to what is wrong, then home" if state == "faulted" else "",
        )

    def _show(self, state: str, words: str, **more: Any) -> None:
        nothing = {
            "board": self.target.board or self.target.rig.board,
            "position_mm": None,
            "pen_up": None,
            "motors_on": False,
            "endstop_x": None,
            "endstop_y": None,
            "fault": None,
            "hint": "",
            "busy": self._shown.get("busy"),
        }
        self._shown = {"state": state, "words": words, **nothing, **more}
        self.publish()

    def _show_busy(self, busy: str | None) -> None:
        self._shown = {**self._shown, "busy": busy}
        self.publish()

    def show_moving(self, now: Progress, session: Session) -> None:
        """Show the pen's position during a drawing; in the machine's thread."""
        report = session.report()
        x, y = self.target.rig.true_at((report["a"], report["b"]))
        from linewire import messages

        pen_up = bool(report["flags"] & messages.FLAG_PEN_UP)
        self._shown = {**self._shown, "state": now.state, "position_mm": [x, y], "pen_up": pen_up}

    def publish(self) -> None:
        """Send the state to the screen."""
        target = self.target
        where = {
            "name": target.rig.name,
            "port": target.port,
            "real_time": self.real_time,
            "ports": self.ports,
            "ports_looking": self.ports_looking,
            "rigs": self.rigs,
            "rig": self.rig_id,
        }
        self._screen.put("machine", {**self._shown, **where})
