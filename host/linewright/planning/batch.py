"""Plans many sources at once, in a pool of processes or on the workers of a Dask cluster.

A worker gets a `BatchItem` and returns a `Planned` with the same bytes as planning the source alone. A failure affects
its own item only. Nothing is written here: the caller consumes the results as they arrive.
"""

from __future__ import annotations

import multiprocessing
import os
import tempfile
import traceback
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Final

from linewright.errors import InputError, LinewrightError
from linewright.program import file as program_file
from linewright.system import processors, signals
from linewright.version import __version__

if TYPE_CHECKING:
    from linewright.planning.pipeline import Job
    from linewright.planning.plan_task import PlanTask

USED: Final = 2
"""Exit code: the source cannot be used; the same as in `cli`."""

BUG: Final = 70

_CONNECT_S: Final = 10.0
"""Time limit for connecting to a cluster's scheduler."""


@dataclass(frozen=True)
class BatchItem:
    """One source to plan, with all data that a worker needs.

    Parameters
    ----------
    task : what is planned.
    content : contents of the file, for workers without access to it.
    program, pictures, speed_map : outputs wanted besides the figures.
    """

    task: PlanTask
    content: bytes | None = None
    program: bool = False
    pictures: bool = True
    speed_map: bool = False

    @property
    def source(self) -> str:
        """As the user typed it."""
        return self.task.source


@dataclass(frozen=True)
class Planned:
    """Result of planning one item.

    Parameters
    ----------
    code : 0, or the exit code that planning it alone would have had.
    error, hint : message and hint, if the code is not 0.
    details : the traceback of a bug.
    facts : as in ``plan --json``.
    files : name to content: the program (``STEM.lw``) and the pictures.
    """

    source: str
    code: int = 0
    error: str = ""
    hint: str = ""
    details: str = ""
    facts: dict[str, Any] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)


def stem(source: str) -> str:
    """Base name of a source's output files."""
    from linewright.pictures import album

    return album.stem(source)


def plan_piece(piece: BatchItem) -> Planned:
    """Plan one item; failures are returned, not raised."""
    with tempfile.TemporaryDirectory(prefix="linewright-") as name:
        folder = Path(name)
        source = piece.source
        if piece.content is not None:
            (folder / "source").mkdir()
            copy = folder / "source" / Path(source).name
            copy.write_bytes(piece.content)
            source = str(copy)
        try:
            return _planned(piece, source, folder)
        except LinewrightError as error:
            return Planned(piece.source, USED, str(error).replace(source, piece.source), error.hint)
        except Exception as error:
            words = f"this is a bug in Linewright: {type(error).__name__}: {error}"
            return Planned(piece.source, BUG, words, "please report it", traceback.format_exc())


def _planned(piece: BatchItem, source: str, folder: Path) -> Planned:
    from linewright.planning.pipeline import prepare

    job = prepare(replace(piece.task, source=source))
    return outcome(job, piece, Path(piece.source).name, stem(piece.source), folder)


def outcome(job: Job, piece: BatchItem, title: str, base: str, folder: Path) -> Planned:
    """The requested outputs of a planned job.

    Parameters
    ----------
    title, base : title of its pictures, and base name of its files.
    folder : an empty folder for temporary files.
    """
    from linewright.pictures import album
    from linewright.planning.pipeline import JOB_SUFFIX

    program = job.program
    written: list[Path] = []
    if piece.program:
        written.append(folder / f"{base}{JOB_SUFFIX}")
        program_file.save(program, written[0])
    if piece.pictures:
        written += album.write(album.preview_scene(program, title), folder, f"{base}-preview")
        if piece.speed_map:
            written += album.write(album.speed_scene(program, title), folder, f"{base}-speed")
    facts = {
        **program.describe(),
        "sheet": program.sheet.name,
        "sheet_mm": [program.sheet.width_mm, program.sheet.height_mm],
        "warnings": list(job.warnings),
    }
    return Planned(piece.source, facts=facts, files={path.name: path.read_bytes() for path in written})


def plan_here(pieces: Sequence[BatchItem], workers: int | None = None) -> Generator[Planned, None, None]:
    """Plan items in separate processes; yields results as they are ready.

    A process that is killed, perhaps for lack of memory, breaks its pool. The unfinished items are then planned one by
    one, so that only the item that kills its process fails.

    Parameters
    ----------
    workers : processes; None: one per usable processor.
    """
    workers = min(workers or processors.usable(), max(len(pieces), 1))
    left = dict(enumerate(pieces))
    with _pool(workers) as pool:
        futures = {pool.submit(plan_piece, piece): number for number, piece in left.items()}
        try:
            for future in as_completed(futures):
                planned = future.result()
                del left[futures[future]]
                yield planned
        except BrokenProcessPool:
            pass
    for piece in left.values():
        with _pool(1) as pool:
            try:
                planned = pool.submit(plan_piece, piece).result()
            except BrokenProcessPool:
                planned = Planned(
                    piece.source,
                    BUG,
                    "its process was killed, perhaps because memory ran out",
                    "plan it alone for the details",
                )
        yield planned


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """A pool whose processes do not outlive an interruption."""
    # Spawn instead of fork, because the caller may run threads.
    context = multiprocessing.get_context("spawn")
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_on_interrupt)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for child in set(multiprocessing.active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_on_interrupt() -> None:
    """Workers also receive Ctrl-C from the terminal: end silently, without writing results."""

    def leave(number: int, frame: FrameType | None) -> None:
        del frame
        os._exit(128 + number)

    signals.handle(leave, signals.INTERRUPT)


def plan_there(pieces: Sequence[BatchItem], address: str) -> Generator[Planned, None, None]:
    """Plan items on the workers of a Dask cluster; yields results as they are ready.

    Workers need this version of Linewright but no shared folder, because items carry their files.

    Raises
    ------
    InputError
        There is no scheduler at the address, it has no workers, or one of them runs another version.
    """
    try:
        import distributed
    except ImportError as error:
        raise InputError(
            "planning on a cluster needs the package distributed", hint="pip install 'linewright[cluster]'"
        ) from error
    try:
        connect: Any = distributed.Client
        client = connect(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"no Dask scheduler answers at {address}: {error}", hint="start one, and give the address that it prints"
        ) from error
    with client:
        _check_workers(client, address)
        futures = {client.submit(plan_piece, piece, pure=False): piece for piece in pieces}
        try:
            as_ready: Any = distributed.as_completed
            for future in as_ready(futures, loop=client.loop):
                yield _result(future, futures[future])
        except BaseException:
            client.cancel(list(futures), force=True)
            raise


def version() -> str:
    """Version of Linewright on the machine where this is called."""
    return __version__


def _check_workers(client: Any, address: str) -> None:
    try:
        versions: dict[str, str] = client.run(version)
    except Exception as error:  # any failure of a worker, such as a missing package
        raise InputError(
            f"the workers of {address} cannot run Linewright: {error}", hint=f"install Linewright {__version__} on each"
        ) from error
    if not versions:
        raise InputError(f"the scheduler at {address} has no workers", hint="start some: dask worker ADDRESS")
    for worker, theirs in versions.items():
        if theirs != __version__:
            raise InputError(
                f"worker {worker} has Linewright {theirs}, this computer {__version__}",
                hint="install the same version on all, because plans may differ between versions",
            )


def _result(future: Future[Planned] | Any, piece: BatchItem) -> Planned:
    try:
        planned: Planned = future.result()
    except Exception as error:  # a worker that died, was stopped, or lost its result
        return Planned(piece.source, BUG, f"the cluster lost it: {error}", "plan it alone for the details")
    return planned
