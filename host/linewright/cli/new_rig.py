"""``linewright rig new``: asks the questions and reports the results."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linewright.cli import next_steps, output, target
from linewright.files import is_there, opened
from linewright.tasks.results import write_file

if TYPE_CHECKING:
    from linewright.bringup.talk import Ask, Talk
    from linewright.rig.draft import Draft
    from linewright.rig.questions import Answers, Question

WORDS: Final = {
    "back": "go back one question",
    "stop": "leave without writing a file",
    "help": "explain the question; Enter accepts the value in brackets",
}
"""Commands available at every question; the others of bring-up make no sense here."""

ANSWERS_LIMIT_BYTES = 65_536
"""Largest file of answers; all answers take one or two kilobytes."""


def make(to: Path, answers_file: Path | None, given: list[str], *, usual: bool, as_json: bool) -> int:
    """Collect the answers, write the file, review it."""
    from linewright.board import machines
    from linewright.cli.tables import rig as rig_report
    from linewright.errors import InputError
    from linewright.rig.draft import draft
    from linewright.rig.questions import read_answers
    from linewright.rig.review import review

    if is_there(to):
        raise InputError(f"{to} exists already", hint="name another file with -o, or remove that one first")
    if not is_there(to.parent):
        raise InputError(f"there is no folder {to.parent}", hint="make it first, or name another with -o")
    answers = read_answers({**_from_file(answers_file), **_from_options(given)})
    missing = left_out(answers)
    ask = not usual and bool(missing)
    if ask and not sys.stdin.isatty():
        raise InputError(
            f"{len(missing)} questions are not answered, and there is no terminal to ask on: "
            + ", ".join(missing[:6])
            + ("..." if len(missing) > 6 else ""),
            hint="give the answers with --answers FILE or --answer NAME=VALUE, and --usual for the rest; "
            "`linewright rig new --questions` lists them",
        )
    made = _asked(answers) if ask else draft(answers)
    if not as_json:
        output.say(f"machine: {made.rig.name} ({to})")
    write_file(made.text.encode(), to)
    machines.use(to)
    target.of_rig(None)
    findings = review(made.rig)
    sound = not any(one.blocks for one in findings)
    if as_json:
        output.emit_json(
            {
                "file": str(to),
                "rig": made.rig.name,
                "steps_per_mm": made.steps_per_mm,
                "limits": {
                    axis: {"speed_mm_s": one.speed_mm_s, "accel_mm_s2": one.accel_mm_s2}
                    for axis, one in (("x", made.rig.x), ("y", made.rig.y))
                },
                "sound": sound,
                "findings": [one.describe() for one in findings],
            }
        )
    else:
        for line in follows(made):
            output.prose(line)
        output.say("")
        # Unknown figures are many at first; `rig check` lists them.
        told = [one for one in findings if one.weight not in ("good", "unknown")]
        if told:
            output.console().print(rig_report.review_table(told), soft_wrap=False)
        output.say(f"{to} written; {rig_report.verdict(findings, to.name)}")
        output.say("it is the usual rig now: every command uses it unless --rig names another")
        output.say(f"next: {next_steps.command('rig', 'check')}")
        output.say(f"      {next_steps.command('rig', 'wiring', '-o', 'wiring.svg')}")
        if made.rig.board != target.VIRTUAL:
            output.say(f"      once wired: {next_steps.command('ports')}, then")
            output.say(f"      {next_steps.command('board', 'flash', '--port', 'serial:PATH')}")
        output.say(f"      {next_steps.command('board', 'bring-up')}")
    return 0


def left_out(answers: Answers) -> list[str]:
    """Names of unanswered questions that apply."""
    from linewright.rig.questions import QUESTIONS

    full: dict[str, Any] = {}
    missing = []
    for question in QUESTIONS:
        full[question.name] = answers[question.name] if question.name in answers else question.usual(full)
        if question.name not in answers and question.asked(full):
            missing.append(question.name)
    return missing


def follows(made: Draft) -> list[str]:
    """Computed values, with the calculation."""
    motor = made.rig.a
    turn_mm = f"{motor.belt_pitch_mm:g} mm x {motor.pulley_teeth}"
    lines = [f"steps per mm: {motor.steps_per_turn} x {motor.microsteps} / ({turn_mm}) = {made.steps_per_mm:g}"]
    for name, axis, found in (("x", made.rig.x, made.reaches[0]), ("y", made.rig.y, made.reaches[1])):
        begins = f"begin with {axis.speed_mm_s:g} mm/s and {axis.accel_mm_s2:g} mm/s^2"
        if found is None:
            lines.append(f"axis {name}: motor and load are not fully known, so {begins}")
        else:
            lines.append(
                f"axis {name}: {_a_motor(made, name)} can do {found.speed_mm_s:.0f} mm/s (limited by {found.by}) and "
                f"{found.accel_mm_s2:.0f} mm/s^2, with a safety factor of 2; {begins}"
            )
    return lines


def _a_motor(made: Draft, axis: str) -> str:
    """Words for an axis' motor: "the motor", or the assumed common motor if it is unknown."""
    motor = {"x": "motor.a.", "y": "motor.b."}[axis]
    assumed = any(key.startswith((motor, "supply.motor")) for key in made.rig.assumed)
    return "a common motor (yours is not known)" if assumed else "the motor"


def _asked(answers: Answers) -> Draft:
    """Ask the unanswered questions, and repeat those whose answers contradict each other."""
    from linewright.bringup.talk import StepCommand, Talk
    from linewright.cli.bring_up import DialogueScreen, standard_input
    from linewright.errors import RigError
    from linewright.rig.draft import draft
    from linewright.rig.questions import QUESTIONS

    screen = DialogueScreen(output.say, standard_input())
    screen.hear(
        "plain",
        "Enter accepts the value in brackets; help explains; back returns to the previous question; stop leaves "
        "without a file.",
    )
    fixed = set(answers)
    while True:
        try:
            _ask_all([one for one in QUESTIONS if one.name not in fixed], answers, Talk(screen), screen)
        except (StepCommand, EOFError):
            output.say("nothing was written", stderr=True)
            raise output.Stopped from None
        try:
            return draft(answers)
        except RigError as error:
            wrong = {issue.key for issue in error.issues}
            again = {q.name for q in QUESTIONS if any(key.startswith(tuple(wrong)) or key in wrong for key in q.keys)}
            if not again:
                raise
            screen.hear("found", "; ".join(f"{issue.key}: {issue.allowed}" for issue in error.issues))
            fixed = {one.name for one in QUESTIONS if one.name not in again}


def _ask_all(questions: list[Question], answers: Answers, talk: Talk, screen: Any) -> None:
    from linewright.bringup.talk import StepCommand, Talk
    from linewright.errors import InputError
    from linewright.rig.questions import refuse_taken

    at = 0
    way = 1
    while at < len(questions):
        question = questions[at]
        if not question.asked(answers):
            at = max(at + way, 0)
            continue
        way = 1
        screen.hear("plain", "")
        screen.hear("plain", question.text)
        try:
            typed = Talk(screen, words=WORDS).choose(_ask(question, answers))
            value = question.read(typed)
            refuse_taken(question, value, answers)
            answers[question.name] = value
        except InputError as error:
            talk.say(f"{error.message}. {error.hint}".rstrip(". ") + ".", "next")
            continue
        except StepCommand as turn:
            if turn.where == "stop":
                raise
            way = -1  # to the previous question
            at = max(at - 1, 0)
            continue
        at += 1


def _ask(question: Question, answers: Answers) -> Ask:
    """The question in the form used by the dialogue."""
    from linewright.bringup.talk import Ask, Choice
    from linewright.rig.checks import bounds_of
    from linewright.rig.questions import PIN_QUESTIONS, UNKNOWN, free_pins, runs_of
    from linewright.rig.rig import Rig

    bounds = bounds_of(Rig, question.keys[0])
    usual = question.usual(answers)
    default = UNKNOWN if usual is None else f"{usual:g}" if isinstance(usual, float) else str(usual)
    words = tuple(Choice(word) for word in bounds.choices)
    if bounds.optional:
        words = (Choice(UNKNOWN),)
    free = f" Free are {runs_of(free_pins(answers, question.name))}." if question.name in PIN_QUESTIONS else ""
    return Ask(
        question.name,
        f"{question.why}{free}",
        words,
        low=bounds.low,
        high=bounds.high,
        unit=bounds.words.rpartition(f"..{bounds.high:g} ")[2] if bounds.is_number else "",
        default=default,
        free=not bounds.choices,
    )


def _from_file(path: Path | None) -> dict[str, object]:
    from linewright.errors import InputError

    if path is None:
        return {}
    hint = 'a JSON object of names and values, as in {"board": "rp2040"}; `rig new --questions` lists the names'
    try:
        with opened(path) as stream:
            data = stream.read(ANSWERS_LIMIT_BYTES + 1)
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}", hint=hint) from error
    if len(data) > ANSWERS_LIMIT_BYTES:
        raise InputError(f"{path} is larger than {ANSWERS_LIMIT_BYTES} bytes; those are no answers", hint=hint)
    try:
        found = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path} is not valid JSON: {error}", hint=hint) from error
    if not isinstance(found, dict):
        raise InputError(f"{path} holds no JSON object", hint=hint)
    return found


def _from_options(given: list[str]) -> dict[str, object]:
    from linewright.errors import InputError

    found: dict[str, object] = {}
    for one in given:
        name, equals, value = one.partition("=")
        if not equals:
            raise InputError(f"--answer {one!r} is not NAME=VALUE", hint="such as --answer board=rp2040")
        found[name.strip()] = value.strip()
    return found
