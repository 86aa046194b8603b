"""The ``linewright`` command: argument parsing and printing only.

Exit codes: 0 done; 2 the picture, the rig file or an option is wrong; 3 the link or the board failed; 130 stopped with
Ctrl-C (143 and 129: by SIGTERM and by a hangup); 70 a bug in Linewright.
"""

from __future__ import annotations

import errno
import gc
import os
import sys
from collections.abc import Sequence

from linewright.cli import streams
from linewright.cli.exit_codes import EXIT_BUG, EXIT_INPUT, EXIT_LINK, EXIT_STOPPED
from linewright.errors import LinewrightError, LinkError

_DRAWS = frozenset({"draw", "plan", "resume"})
_COLLECTED_EVERY = 100_000
"""New objects between two searches for unused ones; Python's own 700 cost a tenth of planning a million vertices."""
_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})


def main(argv: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its exit code."""
    streams.prepare()
    gc.set_threshold(_COLLECTED_EVERY)
    # No package extends our models; searching for pydantic plugins reads the metadata of every installed package.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    sys.exit(run(sys.argv[1:] if argv is None else argv))


def run(argv: Sequence[str]) -> int:
    """Run the command line; every failure becomes an exit code and a message on the right stream."""
    import typer

    from linewright.cli import next_steps, output, target
    from linewright.cli.app import app

    next_steps.know(lambda: typer.main.get_command(app))
    output.completed_by(next_steps.completed)

    as_json = "--json" in argv
    debug = "--debug" in argv
    target.forget()
    try:
        # Removed by hand, because it may be anywhere and must work when parsing fails.
        words = [word for word in argv if word != "--debug"]
        code = app.for_one(words)(words, prog_name="linewright", standalone_mode=False)
        if code == EXIT_STOPPED:  # how the parser reports Ctrl-C
            raise KeyboardInterrupt
        return code if isinstance(code, int) else 0
    except output.Stopped as stopped:
        return 128 + stopped.number
    except (KeyboardInterrupt, typer.Abort):
        # A command that has started to draw reports itself how it stopped.
        asked = next((word for word in argv if not word.startswith("-")), "")
        output.error("stopped" + (" before anything was drawn" if asked in _DRAWS else ""), "", as_json=as_json)
        return EXIT_STOPPED
    except LinewrightError as error:
        output.error(str(error), error.hint, as_json=as_json)
        return EXIT_LINK if isinstance(error, LinkError) else EXIT_INPUT
    except MemoryError:
        hint = "simplify the picture, draw it in several parts, or close other programs"
        output.error("not enough memory for this command", hint, as_json=as_json)
        return EXIT_INPUT
    except BrokenPipeError:
        # The reader of our output has closed (`linewright ... | head`), so nothing can be printed.
        sys.stdout = None  # otherwise flushing at exit fails again
        return 0
    except Exception as error:
        if callable(describe := getattr(error, "format_message", None)):
            # Errors of the parser: an unknown option, a missing argument.
            about = getattr(getattr(error, "ctx", None), "command_path", None) or "linewright"
            if type(error).__name__ == "NoArgsIsHelpError":  # the message is the help text
                output.say(str(describe()), stderr=True)
            else:
                from linewright.cli import complaint

                output.error(
                    complaint.words(error, argv), f"`{about} --help` lists the commands and options", as_json=as_json
                )
            return EXIT_INPUT
        if isinstance(error, OSError) and error.errno in _NO_ROOM and not debug:
            # Readers and writers of files have their own messages, so this is standard output on a full disk.
            output.error(f"the output cannot be written: {error.strerror}", "free space on that disk", as_json=False)
            sys.stdout = None  # otherwise flushing at exit fails again
            return EXIT_INPUT
        if debug:
            raise
        output.bug(error, as_json=as_json)
        return EXIT_BUG
