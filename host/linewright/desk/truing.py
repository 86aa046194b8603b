"""`TruingDesk`: trial sheets, their measurements and the fits of the rig file; tuning for a drawing."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linewright.desk import geometry
from linewright.desk.drawing import Wanted
from linewright.desk.machine import DeskFront
from linewright.desk.page_words import told
from linewright.desk.uploads import LOADING
from linewright.errors import InputError, LinewrightError
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.front import Cancelled
from linewright.tasks.target import Target

if TYPE_CHECKING:
    from linewright.calibration.trial.design import Trial
    from linewright.calibration.trial.finding import Finding
    from linewright.calibration.trial.kit import Kit
    from linewright.desk import events
    from linewright.desk.holdings import Holdings
    from linewright.tasks.fitting import FitTask

FOLDER = "trials"


class TruingDesk:
    """The trial sheet and the results of its measurements."""

    def __init__(self, room: Holdings, folder: Path) -> None:
        self._room = room
        self._folder = folder / FOLDER
        self._screen = room.screen
        self._made: tuple[Trial, Kit, Target] | None = None
        self._shown: dict[str, Any] | None = None
        self._at_work = threading.Lock()
        self._screen.put("trial", None)
        self._screen.put("trials", [])

    def start(self) -> None:
        """Show which sheets exist."""
        self._beside(self._list)

    def _list(self) -> None:
        from linewright.tasks import trials

        with LOADING:
            names = trials.names()
        self._screen.put("trials", [{"name": name, "about": about} for name, about in names.items()])

    # Events

    def make(self, event: events.TrialSheet) -> None:
        """Make a trial sheet."""
        self._show({"name": event.name, "title": event.name, "state": "making", **_NOTHING})
        self._beside(lambda: self._make(event))

    def draw(self) -> None:
        """Draw the trial sheet; the user's confirmations are checked by the caller."""
        from linewright.program import file as program_file
        from linewright.rig.rig import Rig

        if self._made is None or self._shown is None:
            raise InputError("there is no trial sheet", hint="make one")
        trial, kit, target = self._made
        if target.rig != self._room.machine.target.rig:
            raise InputError("this sheet was made for another machine", hint="make it again")
        if kit.rig is not None:
            target = replace(target, rig=Rig.load(kit.rig), rig_file=kit.rig)
        task = DrawTask(trial.title, program_file.load(kit.program), (), target, reads_tape=False)
        self._room.drawing.draw(Wanted(task, self._shown["geometry"], "trial", over=self._drawn))

    def close(self) -> None:
        """Close the view; the sheet's files are kept."""
        self._made = None
        self._shown = None
        self._screen.put("trial", None)

    def fit(self, event: events.Fit) -> None:
        """Evaluate the measurements."""
        if self._made is None:
            raise InputError("there is no trial sheet", hint="make it, draw it, and measure it")
        photo = None if event.photo is None else self._room.sheet.uploads.get(event.photo).path
        self._change(state="fitting", error=None)
        self._beside(lambda: self._fit(event, photo))

    def fit_undo(self) -> None:
        """Revert the newest fit of the rig file."""
        from linewright.tasks import fitting

        undone = fitting.undo(self._room.machine.target)
        self._room.rig_changed()
        self._room.notes.add("said", f"the newest fit is taken back: {undone.entry.trial}")

    def tune(self, event: events.Tune) -> None:
        """Find the fastest motion limits that do not cause wobble, for the drawing on the sheet."""
        from linewright.planning.pipeline import Job

        plan = self._room.sheet.plan
        if plan is None:
            raise InputError("there is no plan to tune for", hint="put something on the sheet")
        self._room.show_task("tune", "looking for the quickest way to move")
        job = Job(plan.program, plan.warnings)
        self._beside(lambda: self._tune(job, event), self._room.end_task)

    # In the background

    def _beside(self, do: Callable[[], None], failed: Callable[[dict[str, str]], None] | None = None) -> None:
        """Run jobs one after the other in a separate thread.

        Parameters
        ----------
        failed : called with the reason of a failure; None: shown with the trial sheet.
        """

        def work() -> None:
            with self._at_work:
                try:
                    do()
                except LinewrightError as error:
                    (failed or self._failed)(told(error))
                except Cancelled as cancelled:
                    (failed or self._failed)({"text": str(cancelled) or "stopped", "hint": ""})

        threading.Thread(target=work, daemon=True, name="desk truing").start()

    def _failed(self, error: dict[str, str]) -> None:
        if self._shown is not None:
            self._change(state="ready" if self._made is not None else "refused", error=error)
        else:
            self._room.notes.add("error", error["text"], error["hint"])

    def _make(self, event: events.TrialSheet) -> None:
        from linewright.desk.making import of_program
        from linewright.program import file as program_file
        from linewright.tasks import trials

        target = self._room.machine.target
        self._folder.mkdir(parents=True, exist_ok=True)
        trial, kit = trials.make(trials.TrialTask(event.name, target, self._folder, axis=event.axis, top=event.top))
        program = program_file.load(kit.program)
        self._made = trial, kit, target
        shown = self._room.sheet.shelf.put(geometry.of_program(program, target.rig), "t")
        self._show(
            {
                **_NOTHING,
                "name": trial.name,
                "title": trial.title,
                "state": "ready",
                "how": list(trial.how),
                "picture": self._room.keep_picture("image/png", kit.picture.read_bytes()),
                "geometry": shown,
                "pens": of_program(program)["pens"],
                "number": kit.number,
                "predicted_s": kit.predicted_s,
                "photograph": trial.name == "photo",
                "entries": [
                    {"name": e.name, "ask": e.ask, "unit": e.unit, "expected": e.expected, "needed": e.needed}
                    for e in trial.entries
                ],
            }
        )

    def _drawn(self, finished: bool) -> None:
        if finished:
            self._change(drawn=True)

    def _fit(self, event: events.Fit, photo: Path | None) -> None:
        from linewright.tasks import fitting

        assert self._made is not None, "there is a sheet"
        trial, kit, _ = self._made
        target = self._room.machine.target
        front = DeskFront(self._room.notes, self._room.questions, lambda *_: None)
        if (
            event.write
            and target.rehearses
            and not front.confirm(
                "Was this sheet drawn by the real machine?",
                f"The desk rehearses now, and {target.name} would be corrected by what you measured.",
            )
        ):
            raise Cancelled("the rig file stays as it is")
        task = fitting.FitTask(
            str(kit.form if photo is not None else self._filled(trial, kit, event)),
            target,
            photo=photo,
            paper=event.paper,
            map_file=None if photo is None else kit.form.with_name(f"{kit.form.stem}-left.png"),
            only_show=not event.write,
        )
        self._take(task, front)

    def _filled(self, trial: Trial, kit: Kit, event: events.Fit) -> Path:
        """The sheet's form filled with the typed values, as a file beside it."""
        known = {entry.name for entry in trial.entries}
        unknown = sorted(set(event.answers) - known)
        if unknown:
            raise InputError(f"nothing is called {unknown[0]!r} on this sheet")
        form = json.loads(kit.form.read_text(encoding="utf-8"))
        form["measurements"] = {name: event.answers.get(name) or None for name in form["measurements"]}
        path = kit.form.with_name(f"{kit.form.stem}-measured.json")
        path.write_text(json.dumps(form, indent=1, ensure_ascii=False), encoding="utf-8")
        return path

    def _take(self, task: FitTask, front: DeskFront) -> None:
        from linewright.tasks import fitting

        fitted = fitting.fit(task, front)
        left = None
        if task.map_file is not None and task.map_file.exists():
            left = self._room.keep_picture("image/png", task.map_file.read_bytes())
        written = fitted.kept is not None
        self._change(state="ready", finding={**_finding(fitted.finding), "picture": left, "written": written})
        if written:
            self._room.rig_changed()
        elif not task.only_show and task.target.rig_file is None:
            self._room.notes.add("note", "the default rig has no file, so nothing was written")

    def _tune(self, job: Any, event: events.Tune) -> None:
        from linewright.tasks import tuning

        room = self._room
        front = DeskFront(
            room.notes, room.questions, lambda doing, done: room.show_task("tune", doing, done), stopping=room.stopping
        )
        room.stopping.clear()
        target = room.machine.target
        choice, kept = tuning.tune(job, target, front, wobble_mm=event.wobble_mm, only_show=not event.write)
        rows = [
            {
                "name": one.name,
                "predicted_s": one.predicted_s,
                "wobble_mm": one.wobble_mm,
                "rms_mm": one.rms_mm,
                "best": one is choice.best,
                "now": one is choice.now,
            }
            for one in (choice.now, *choice.tried)
        ]
        room.show_task("tune", "", 1.0, rows=rows, written=kept is not None)
        if kept is not None:
            room.rig_changed()

    def _show(self, new: dict[str, Any]) -> None:
        self._shown = new
        self._screen.put("trial", new)

    def _change(self, **new: Any) -> None:
        if self._shown is not None:
            self._show({**self._shown, **new})


_NOTHING: dict[str, Any] = {
    "how": [],
    "picture": None,
    "geometry": None,
    "pens": [],
    "number": "",
    "predicted_s": 0.0,
    "photograph": False,
    "entries": [],
    "drawn": False,
    "finding": None,
    "error": None,
}


def _finding(finding: Finding) -> dict[str, Any]:
    """A finding as a page value."""
    return {
        "rows": [asdict(figure) for figure in finding.figures],
        "residuals": [asdict(residual) for residual in finding.residuals],
        "changes": [{"key": key, "new": _plain(value)} for key, value in finding.changes.items()],
        "notes": list(finding.notes),
    }


def _plain(value: Any) -> Any:
    return value.tolist() if hasattr(value, "tolist") else value
