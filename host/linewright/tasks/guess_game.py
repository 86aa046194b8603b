"""The guessing game's drawing part: a secret subject as strokes, drawn part by part.

The secret is in no file, file name or note before the end; the board gets strokes only.
"""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.tasks.results import write_file

if TYPE_CHECKING:
    from linewright.board.session_values import Control
    from linewright.drawing.strokes import Drawing
    from linewright.planning.pipeline import Placement
    from linewright.sources.picture import Picture, Wish
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target

    Draw = Callable[[Picture, Control], None]

PICTURE = "guess.png"
"""File of the parts drawn so far; its name must not reveal the secret."""


@dataclass(frozen=True)
class GuessTask:
    """Options of the game.

    Parameters
    ----------
    target : the machine; without a port, the parts are shown in a picture file.
    placement : sheet and position.
    pictures : folder of that picture file.
    painted : use the user's picture maker.
    maker_file : file of that maker; None: the usual one.
    """

    target: Target
    placement: Placement
    pictures: Path
    painted: bool = False
    maker_file: Path | None = None

    def picture(self, secret: str) -> Picture:
        """The secret as strokes on the sheet. A picture maker's file gets a neutral name and is removed afterwards.

        Raises
        ------
        InputError, MakerError : there is no maker, or it failed.
        """
        from linewright.planning import pipeline
        from linewright.rig.sheet_place import sheet_on
        from linewright.sources.words.guessing import with_article

        rig = self.target.rig
        wish = pipeline.wish_for(rig, sheet_on(rig, self.placement.sheet), self.placement)
        if not self.painted:
            return _stored(secret, wish)
        from linewright.maker import find_maker
        from linewright.maker.making import bytes_of

        data, suffix = bytes_of(with_article(secret), find_maker(self.maker_file))
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / f"picture{suffix}"
            file.write_bytes(data)
            return pipeline.read_picture(str(file), pipeline.Lines(), wish)

    def show(self, drawing: Drawing, picture: Picture) -> Path:
        """Write the parts drawn so far to a picture file, and return its path."""
        from linewright.pictures.preview import preview
        from linewright.pictures.raster import to_png
        from linewright.pictures.scene import Table
        from linewright.sheet.sizes import Sheet

        pen_mm = self.target.rig.pen.width_mm
        sheet = Sheet(picture.width_mm, picture.height_mm, 0.0, "guess")
        scene = preview(drawing, Table(sheet), pen_width_mm=pen_mm, show_travel=False, title="what is it?")
        self.pictures.mkdir(parents=True, exist_ok=True)
        write_file(to_png(scene), self.pictures / PICTURE, over=True)
        return self.pictures / PICTURE


@contextmanager
def machine(task: GuessTask, front: Front) -> Iterator[Draw | None]:
    """Context manager: a function that draws a part on the machine; None without a port."""
    if not task.target.port:
        yield None
        return
    from linewright.planning import pipeline
    from linewright.tasks import drawing

    plan = pipeline.PlanTask("", task.target.rig, task.placement)
    with drawing.part_by_part(task.target, front) as play:
        yield lambda picture, control: play(pipeline.planned(picture, plan).program, control)


@contextmanager
def drawn_meanwhile(draw: Draw | None, picture: Picture, part: Drawing) -> Iterator[None]:
    """Context manager: a part is drawn meanwhile. Its error is raised at the end; an error in the block stops it."""
    if draw is None:
        yield
        return
    from linewright.board.session_values import Control

    control = Control()
    wrong: list[BaseException] = []

    def work() -> None:
        try:
            draw(replace(picture, drawing=part), control)
        except BaseException as error:  # re-raised in the main thread
            wrong.append(error)

    pen = threading.Thread(target=work)
    pen.start()
    try:
        yield
    except BaseException:
        control.abandon()
        raise
    finally:
        pen.join()
    if wrong:
        raise wrong[0]


def _stored(secret: str, wish: Wish) -> Picture:
    """The secret from the store of drawings."""
    from linewright.sources.picture import Picture
    from linewright.sources.words.staging import Stage
    from linewright.sources.words.store import things
    from linewright.sources.words.way import placed

    drawing, width_mm, height_mm = placed(Stage(things(), 1).plain(secret).art, wish)
    return Picture(drawing, width_mm, height_mm)
