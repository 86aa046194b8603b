"""Linewright for scripts and notebooks, beside the command line and the desk.

`linewright/__init__.py` exports these names. Nothing is printed, and no question is asked unless the script passes
``ask``.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from linewright.drawing.strokes import Drawing, Pen
from linewright.rig.rig import Rig
from linewright.sources.source_file import source_file
from linewright.tasks.front import Quiet

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress
    from linewright.pictures.scene import Scene
    from linewright.program.program import Program
    from linewright.sheet.sizes import Sheet
    from linewright.sources.picture import Picture
    from linewright.tasks.draw_task import Drawn

SHOWN_VERTICES: Final = 50_000
"""A notebook shows a plan of more vertices as a PNG, because browsers scroll slowly over so large an SVG."""


@dataclass(frozen=True)
class Source:
    """Something to draw. Its strokes are made for its size on the sheet, so that line spacing does not scale.

    `read`, `photograph`, `letters` and `pattern` make one.

    Parameters
    ----------
    source : a file or a text; empty for a pattern.
    method : as `--as` of the command line takes it; None: an SVG's own lines, and of a photograph what suits it.
    pens : to separate a photograph's colours to; none: one black pen.
    name : for captions and file names.
    """

    source: str
    method: str | None
    pens: tuple[Pen, ...] = ()
    name: str = ""

    def strokes(self, width_mm: float = 190.0, height_mm: float = 277.0, *, pen_width_mm: float = 0.5) -> Drawing:
        """Strokes for a box of this size, mm; the default is A4 within margins of 10 mm. An SVG keeps its own size.

        Raises
        ------
        SourceError : the source cannot be read, or contains nothing to draw.

        Examples
        --------
        >>> len(pattern("wheels", seed=3).strokes(60, 40))
        1
        """
        from linewright.planning import pipeline
        from linewright.sources import Wish

        wish = Wish(room_mm=(width_mm, height_mm), pen_width_mm=pen_width_mm)
        return pipeline.read_picture(self.source, pipeline.Lines(self.method, self.pens), wish).drawing

    def _repr_svg_(self) -> str:
        """SVG of the strokes on A4, for notebooks."""
        return self.strokes()._repr_svg_()


def read(path: str | os.PathLike[str]) -> Source:
    """A picture file as a source: an SVG with its own lines and size, or a photograph with the method that suits it.

    Parameters
    ----------
    path : of the file.

    Raises
    ------
    SourceError : there is no such file.

    Examples
    --------
    >>> read("no-such-heron.svg")
    Traceback (most recent call last):
    ...
    linewright.errors.SourceError: no-such-heron.svg: there is no such file
    """
    return Source(_existing(path), None, name=Path(path).name)


def photograph(
    path: str | os.PathLike[str], method: str = "auto", *, pens: str | tuple[Pen, ...] = (), **settings: object
) -> Source:
    """A photograph drawn by the named method.

    Parameters
    ----------
    path : of the file.
    method : a name from `methods`.
    pens : to separate colours to, as pens or in words such as ``"black, sea #1f6f8b 0.3"`` (name, colour, width in
        mm); none: one black pen.
    settings : of the method, as `linewright methods METHOD` lists them.

    Raises
    ------
    SourceError : there is no such file.
    InputError : there is no such method or setting, or a value is outside its range.
    """
    from linewright.sources.pens import read_pens

    several = read_pens(pens) if isinstance(pens, str) else tuple(pens)
    return Source(_existing(path), _words(method, settings), several, Path(path).name)


def letters(text: str, **settings: object) -> Source:
    """A text in single-line letters.

    Parameters
    ----------
    text : its lines are kept; long ones are broken.
    settings : ``face``, ``size_mm`` (0: as large as the room allows), ``align``, ``box_mm``, ``leading``,
        ``tracking``, ``along``: `linewright methods lettering` explains them.

    Raises
    ------
    InputError : there is no such setting, or a value is outside its range.

    Examples
    --------
    >>> letters("Quay", size_mm=5000)
    Traceback (most recent call last):
    ...
    linewright.errors.InputError: lettering: size_mm = 5000 is outside 0..2000 mm
    """
    return Source(text, _words("lettering", settings), name=text.strip().partition("\n")[0][:30])


def pattern(name: str, *, seed: int = 1, **settings: object) -> Source:
    """A generated pattern. The same seed, size and pen give the same strokes.

    Parameters
    ----------
    name : of a pattern from `methods`.
    settings : of the pattern, as `linewright methods NAME` lists them.

    Raises
    ------
    InputError : there is no such pattern or setting, or a value is outside its range.
    """
    return Source("", _words(name, {"seed": seed, **settings}), name=f"{name}-{seed}")


def methods() -> dict[str, str]:
    """Names of all methods and patterns, those of installed packages included, with a description of each.

    Examples
    --------
    >>> methods()["contours"]
    'contour lines of tone, as on a map'
    """
    from linewright.sources.methods import usable

    return {name: method.about for name, method in usable().items()}


@dataclass(frozen=True, repr=False, eq=False)
class Plan:
    """A drawing planned for one rig. A notebook shows it as a picture.

    Parameters
    ----------
    name : for captions and file names.
    rig : the machine that it is planned for; other rigs refuse it.
    program : everything that is sent to the board.
    warnings : what to know before it is drawn, in plain words.
    """

    name: str
    rig: Rig
    program: Program
    warnings: tuple[str, ...]

    def __repr__(self) -> str:
        from linewright.wording import duration

        return (
            f"<Plan {self.name!r}: {len(self.strokes)} strokes, {self.ink_mm / 1000.0:.2f} m of ink, "
            f"{duration(self.duration_s)} on {self.sheet.name}, rig {self.rig.name!r}>"
        )

    @property
    def duration_s(self) -> float:
        """Exact playing time on the board, seconds, without homing and pen changes."""
        return self.program.predicted_s

    @property
    def ink_mm(self) -> float:
        """Length of all lines, mm."""
        return self.program.pen_down_mm

    @property
    def travel_mm(self) -> float:
        """Length of all pen-up moves, mm."""
        return self.program.travel_mm

    @property
    def strokes(self) -> Drawing:
        """The strokes in drawing order, mm from the machine's zero."""
        return self.program.drawing

    @property
    def sheet(self) -> Sheet:
        """The sheet that it is planned for."""
        return self.program.sheet

    def svg(self) -> str:
        """The preview as the text of an SVG, at true size: ink in true widths, travel faint."""
        from linewright.pictures.svg_writer import to_svg

        return to_svg(self._scene)

    def png(self) -> bytes:
        """The preview as the bytes of a PNG, 1600 pixels long."""
        from linewright.pictures.raster import to_png

        return to_png(self._scene)

    def save(self, path: str | os.PathLike[str]) -> None:
        """Save the program to a ``.lw`` file, which `linewright draw` and `Plan.load` read.

        Raises
        ------
        InputError : the file cannot be written, or its name does not end in ``.lw``.
        """
        from linewright.errors import InputError
        from linewright.planning import pipeline
        from linewright.program import file

        if not pipeline.is_job(Path(path)):
            raise InputError(
                f"{path} does not end in {pipeline.JOB_SUFFIX}", hint="`draw` knows programs by that ending"
            )
        file.save(self.program, Path(path))

    @classmethod
    def load(cls, path: str | os.PathLike[str], rig: Rig | None = None) -> Plan:
        """Load a saved plan.

        Raises
        ------
        ProgramError : the file is damaged, or was planned for a rig that moves differently.
        """
        from linewright.planning import pipeline

        rig = rig or Rig.default()
        job = pipeline.load(Path(path), rig)
        return cls(Path(path).stem, rig, job.program, job.warnings)

    @cached_property
    def _scene(self) -> Scene:
        from linewright.pictures import album

        return album.preview_scene(self.program, self.name)

    def _repr_svg_(self) -> str | None:
        """SVG of the preview for notebooks; None if the plan has more than `SHOWN_VERTICES`."""
        return self.svg() if self.strokes.vertices <= SHOWN_VERTICES else None

    def _repr_png_(self) -> bytes | None:
        """PNG of the preview for notebooks; None if the plan is small enough for an SVG."""
        return None if self.strokes.vertices <= SHOWN_VERTICES else self.png()


def plan(
    what: Source | Drawing | str | os.PathLike[str],
    rig: Rig | None = None,
    sheet: str | None = None,
    *,
    landscape: bool | None = None,
    margin_mm: float | None = None,
    fit: bool = True,
    turn_deg: float | Literal["auto"] = "auto",
    at_mm: tuple[float, float] | None = None,
    width_mm: float | None = None,
    mirror: bool = False,
    effort: Literal["quick", "normal", "best"] = "normal",
) -> Plan:
    """Plan how a rig draws something. Nothing moves.

    Parameters
    ----------
    what : from `read` and its like, a file's name, or a `Drawing` of your own; a drawing is placed by the box around
        its strokes.
    rig : from `Rig.load`; None: the default rig.
    sheet : a name such as ``"A5"``, or a size such as ``"210x297mm"``; None: the rig's own.
    landscape : how the sheet lies; None: the way that fits the rig.
    margin_mm : kept clear all round; None: the rig's own.
    fit : as large as sheet and machine allow, in the middle of the sheet; False: at its own size, in the middle.
    turn_deg : clockwise, by any angle; ``"auto"``: by a quarter turn where it then becomes larger.
    at_mm : where the top left corner of the upright box around it lies, mm from that of the sheet; None: in the middle.
    width_mm : its own width, before it is turned; None: as ``fit`` says.
    mirror : left and right are swapped.
    effort : how long to look for an order of strokes with little travel.

    Raises
    ------
    SourceError : it cannot be read.
    SheetError : there is no such sheet, or nothing of the picture lies on it.
    PlanError : it cannot be drawn.

    Examples
    --------
    >>> square = Drawing.from_strokes([[(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)]])
    >>> made = plan(square, sheet="A5", fit=False)
    >>> round(made.ink_mm, 3), len(made.strokes), made.sheet.name
    (80.0, 1, 'A5')
    >>> small = plan(square, sheet="A5", at_mm=(30, 40), width_mm=10)
    >>> round(small.ink_mm, 3)
    40.0
    """
    from linewright.planning.pipeline import Lines, Placement
    from linewright.tasks import planning
    from linewright.tidy import Tidiness

    rig = rig or Rig.default()
    placement = Placement(
        sheet, landscape, margin_mm, "fit" if fit else "keep", turn_deg, "colour", at_mm, width_mm, mirror
    )
    tidiness = Tidiness(effort=effort)
    if isinstance(what, Drawing):
        job = planning.plan_strokes(
            _as_picture(what), planning.PlanTask("", rig, placement, Lines(), tidiness), Quiet()
        )
        return Plan("drawing", rig, job.program, job.warnings)
    source = what if isinstance(what, Source) else read(what)
    task = planning.PlanTask(source.source, rig, placement, Lines(source.method, source.pens), tidiness)
    job = planning.plan(task, Quiet())
    return Plan(source.name, rig, job.program, job.warnings)


def draw(
    plan: Plan,
    port: str = "virtual",
    *,
    on_progress: Callable[[Progress], object] | None = None,
    ask: Callable[[str], object] | None = None,
) -> Drawn:
    """Connect to the board, home, and draw a plan. Keep fingers clear and the motor power switch within reach.

    `resume` continues a drawing that was interrupted.

    Parameters
    ----------
    port : ``"virtual"``, ``"serial:PATH"`` (such as ``"serial:/dev/ttyACM0"``) or ``"socket:HOST:PORT"``.
    on_progress : called about 20 times a second with the progress: ``state``, ``stroke`` of ``strokes``,
        ``left_s``.
    ask : called in a separate thread before each pen with a request such as "mount the pen 'red'"; drawing continues
        when it returns. None: no pen changes.

    Raises
    ------
    InputError : there is no such kind of port.
    LinkError : the board cannot be reached, or the link was lost; the hint says how to carry on.
    ProgramError : the board's rig is another one.

    Returns
    -------
    Drawn
        ``finished``; ``result`` with the board's own counts; on the virtual rig ``trace``, what the pen really drew.
    """
    from linewright.tasks import drawing
    from linewright.tasks.draw_task import DrawTask
    from linewright.tasks.target import Target

    target = Target(plan.rig, None, port, port_named=True)
    task = DrawTask(plan.name, plan.program, plan.warnings, target, ask_pens=ask is not None)
    return drawing.draw(task, _Script(on_progress, ask))


def resume(
    rig: Rig | None = None,
    name: str | None = None,
    *,
    port: str | None = None,
    on_progress: Callable[[Progress], object] | None = None,
    ask: Callable[[str], object] | None = None,
) -> Drawn:
    """Draw the rest of an interrupted drawing. The sheet must be in the same place, with the same pen mounted.

    Parameters
    ----------
    rig : the same as before; None: the default rig.
    name : of the drawing; None: the newest.
    port : where the machine is; None: where it was.
    on_progress, ask : as for `draw`.

    Raises
    ------
    InputError : there is no interrupted drawing.
    ProgramError : the rig moves differently.
    LinkError : as from `draw`; or the machine has lost its position and has no endstops for homing.
    """
    from linewright.tasks import drawing, resuming
    from linewright.tasks.target import Target

    story = resuming.find(name)
    target = Target(rig or Rig.default(), None, port or story.port, port_named=port is not None)
    task = resuming.rest_of(resuming.look(story, target.rig), target, ask_pens=ask is not None)
    return drawing.draw(task, _Script(on_progress, ask))


class _Script(Quiet):
    """`Front` for scripts: no terminal, questions go to the ``ask`` function."""

    def __init__(self, on_progress: Callable[[Progress], object] | None, ask: Callable[[str], object] | None) -> None:
        super().__init__()
        self._on_progress = on_progress
        self._ask = ask

    def ready(self, what: str) -> bool:
        """See `Front.ready`."""
        if self._ask is None:
            return False
        self._ask(what)
        return True

    @contextmanager
    def steering(self, control: Control, pace: float) -> Iterator[Callable[[Progress], None]]:
        """See `Front.steering`."""
        del pace
        asked_at = -1

        def told(now: Progress) -> None:
            nonlocal asked_at
            if now.state == "pen" and asked_at != now.records_done:
                asked_at = now.records_done
                # Use a thread, because the link must be served while the user changes the pen.
                threading.Thread(target=self._change, args=(now.pen, control), daemon=True).start()
            if self._on_progress is not None:
                self._on_progress(now)

        yield told

    def _change(self, pen: Pen, control: Control) -> None:
        if self.ready(f"mount the pen '{pen.name}'"):
            control.pen_changed()


def _existing(path: str | os.PathLike[str]) -> str:
    with source_file(path):
        return os.fspath(path)


def _words(method: str, settings: dict[str, object]) -> str:
    """A method with its settings in the command line's notation. Raises InputError if a setting is wrong."""
    from linewright.sources.methods import chosen

    words = f"{method}:{','.join(f'{key}={value}' for key, value in settings.items())}" if settings else method
    chosen(words)
    return words


def _as_picture(drawing: Drawing) -> Picture:
    """A drawing whose page is the box around its strokes."""
    from linewright.sources.picture import Picture

    left, top, right, bottom = drawing.bounds_mm()
    moved = replace(drawing, points_mm=drawing.points_mm - (left, top))
    return Picture(moved, right - left, bottom - top)
