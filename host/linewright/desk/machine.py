"""`DeskMachine`: the thread that holds the one session with the board, and does with it what the page wishes.

A wish is a function that gets the machine as it is met. Between wishes the board is asked how it stands a few times a
second, so that what the page shows is true, a board that has gone is noticed, and one that is there keeps its place.
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
"""How often a board that has nothing to do is asked how it stands."""

AGAIN_S: Final = 2.0
"""How often a board that has gone is looked for."""


@dataclass(frozen=True)
class MachineWish:
    """Something to do with the machine.

    Parameters
    ----------
    kind : a wish that waits is replaced by a newer one of the same kind, if that is "jog".
    busy : what the machine is doing meanwhile, in words.
    do : does it, in the machine's thread.
    undone : is told why it is not even begun: the machine is not there.
    """

    kind: str
    busy: str
    do: Callable[[Met], None]
    undone: Callable[[LinewrightError], None] = lambda _why: None


@dataclass(frozen=True)
class Met:
    """The machine that is held.

    Parameters
    ----------
    target : as it was opened, with what its board has said of itself.
    meant : with its newest rig.
    """

    session: Session
    target: Target
    meant: Target

    def at(self, target: Target) -> Target:
        """This machine with another rig: that of a drawing that was planned for it."""
        return replace(target, port=self.target.port, board=self.target.board, unique=self.target.unique)


@dataclass
class DeskFront:
    """A `Front` of the tasks whose person sits at the page.

    Parameters
    ----------
    told : is told what is done, and how much of it.
    on_progress : is told where a drawing stands, in the machine's thread.
    control : of the drawing under way; None: the pen does not draw.
    has_first_pen : somebody has said already that the pen which is asked for first is in.
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
    target : which it is, and where.
    changed : called when another machine, or another rig file, is meant from now on.
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
        # With the number of the machine's choice; the first entry of a choice wishes nothing.
        self._wishes: queue.Queue[tuple[int, MachineWish | None]] = queue.Queue()
        self._chosen = 0  # how often another machine has been chosen
        self._held = 0  # the choice that the machine's thread stands at
        self._jog: MachineWish | None = None
        self._front: DeskFront | None = None
        self._wanted = True  # to be connected
        self._closing = False
        self._leave = False  # the session, to open another
        self._cuts = False  # what is under way ends with the motors off
        self._unwinding = False  # it has been told to end, and must not be told again
        self._shown: dict[str, Any] = {}
        self.ports: list[dict[str, Any]] = []
        self.ports_looking = False
        self.rigs: list[dict[str, Any]] = []
        self.rig_id = ""
        self._trouble = ""
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, daemon=True, name="desk machine")
        self._show("connecting", "Looking for the machine")

    # From the page, any thread

    def start(self) -> None:
        """Connect."""
        self._thread.start()

    def close(self) -> None:
        """Stop the machine, raise the pen and close the port; returns when that is done."""
        self._closing = True
        self.stop()
        self._questions.withdraw()
        self._put(None)
        if self._thread.is_alive():
            self._thread.join(15.0)

    def ask(self, wish: MachineWish) -> None:
        """Do this when all that was wished before is done.

        Raises
        ------
        LinkError : the machine is drawing, or is used for something that takes long.
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
        """What it does now; "": nothing."""
        return str(self._shown.get("busy") or "")

    @property
    def position_mm(self) -> list[float] | None:
        """Where the pen is, machine mm; None: not known."""
        found: list[float] | None = self._shown.get("position_mm")
        return found

    @property
    def pen_up(self) -> bool | None:
        """Whether the pen is raised; None: not known."""
        return self._shown.get("pen_up")

    @property
    def front(self) -> DeskFront | None:
        """Of what it does now."""
        return self._front

    def stop(self) -> None:
        """End what is under way, in a controlled way, pen up."""
        front = self._front
        if front is None:
            return
        front.stopping.set()
        control = front.control
        if control is not None:
            control.abandon()
        self._questions.withdraw()

    def cut(self) -> None:
        """Motors off at once, whatever is under way."""
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
        """Hold this machine from now on; None: none. What waits for the one that is held is done there before."""
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
        """The rig file of the machine that is connected has changed."""
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
        """Hold the machine until something goes wrong or another one is wanted."""
        from linewright.tasks.connection import holding

        self._show("connecting", f"Looking for {target.name}")
        front = DeskFront(self._notes, self._questions, lambda *_: None)
        opened = replace(target, port="virtual:real_time=1") if real_time and target.port == VIRTUAL else target
        with holding(opened, front) as (session, met_at):
            session.greet()
            session.talk.on_turn = self._end_if_stopped
            self._trouble = ""
            with self._lock:
                # Which board it is also tells whether it is a virtual rig.
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
        """Carry a wish out; what the machine or the page is to blame for is said, and the machine is held on."""
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
            # Of many link errors the board is not to blame, such as a place that nobody knows; the next look tells.
        except LinewrightError as error:
            self._notes.add("error", str(error), error.hint)
        except EOFError:
            self._notes.add("said", "stopped")
        finally:
            self._front = None
            self._show_busy(None)

    def _end_if_stopped(self) -> None:
        """Raises at the next turn of the link once somebody has stopped what is under way; a drawing is told itself."""
        front = self._front
        if front is not None and front.stopping.is_set() and front.control is None and not self._unwinding:
            self._unwinding = True
            raise Cancelled("stopped")

    def _doing(self, doing: str, done: float | None) -> None:
        share = "" if done is None else f", {done:.0%}"
        self._show_busy(f"{doing[:1].upper()}{doing[1:]}{share}")

    def _look(self, session: Session) -> None:
        """Show how the machine stands."""
        try:
            report = session.fresh_report()
        except BoardFault:
            report = session.report()  # it has said so of its own accord; the report says the same
        from linewright.board.status import BoardStatus

        greeting = session.greeting
        assert greeting is not None, "the session has greeted"
        self._show_status(BoardStatus.of(greeting, report, session.rig))

    def _lost(self, error: LinewrightError) -> None:
        """The machine has gone, or was never there: say so, and look for it now and then."""
        self._show("lost", f"{str(error)[:1].upper()}{str(error)[1:]}", hint=on_page(error.hint))
        if str(error) != self._trouble:  # said once, however often it is looked for
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
        """A wish, if it is meant for the machine that is held; an earlier machine's is refused."""
        if choice > self._held:
            self._leave = True
        elif choice < self._held:
            self._refuse(wish, LinkError("another machine was chosen meanwhile"))
        else:
            return wish
        return None

    def _refuse(self, wish: MachineWish | None, why: LinewrightError) -> None:
        """Say that a wish is not carried out."""
        if wish is not None:
            self._notes.add("error", f"that was not done: {why}", why.hint)
            wish.undone(why)

    # What is shown

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
        """Where the pen is while it draws. In the machine's thread."""
        report = session.report()
        x, y = self.target.rig.true_at((report["a"], report["b"]))
        from linewire import messages

        pen_up = bool(report["flags"] & messages.FLAG_PEN_UP)
        self._shown = {**self._shown, "state": now.state, "position_mm": [x, y], "pen_up": pen_up}

    def publish(self) -> None:
        """Put it on the screen."""
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
