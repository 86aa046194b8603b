"""Page and server use the same names of events, addresses and state keys.

`make types` checks the page's types; these are names outside its types.
"""

import re
from pathlib import Path

import pytest

import linewright.desk as package
from linewright.desk import app, events, phone
from linewright.desk.catalogue import catalogue

PAGE = Path(package.__file__).parent / "page"
TEXTS = {path.relative_to(PAGE).as_posix(): path.read_text(encoding="utf-8") for path in PAGE.rglob("*.js")}
MAIN = "\n".join(text for name, text in TEXTS.items() if name != "phone.js")


def own_events() -> set[str]:
    """Events that a window handles by itself."""
    tables = re.findall(r"^const (?:OWN|WINDOW) = \{$(.*?)^\};$", MAIN, re.DOTALL | re.MULTILINE)
    assert len(tables) == 2
    return {name for table in tables for name in re.findall(r"^  (?:async )?(\w+)(?:\(|:)", table, re.MULTILINE)}


def said_events() -> set[str]:
    """Events that are sent, or named by an element."""
    return set(re.findall(r"""(?:\bdo|"data-do"): "(\w+)\"""", MAIN))


def test_every_event_that_the_page_says_is_heard():
    assert said_events() - own_events() - set(events.TABLE) == set()


def test_every_event_of_the_server_and_of_the_window_can_be_said():
    assert set(events.TABLE) - said_events() == set()
    called = set(re.findall(r"OWN\.(\w+)\(", MAIN))
    assert own_events() - said_events() - called == set()


@pytest.mark.parametrize(("name", "module"), [("index.html", app), ("phone.html", phone)])
def test_every_address_that_the_page_asks_for_is_answered(name, module):
    text = (PAGE / name).read_text(encoding="utf-8")
    text += TEXTS["phone.js"] if module is phone else MAIN
    asked = set(re.findall(r"""["`](/[a-z][\w./-]*)""", text))
    answered = re.findall(r'Route\("([^"]+)"', Path(module.__file__).read_text(encoding="utf-8"))
    prefixes = {path.partition("{")[0] for path in answered}
    assert asked
    for one in asked:
        assert any(
            one == prefix or (prefix.endswith("/") and prefix != "/" and one.startswith(prefix)) for prefix in prefixes
        ), one


def test_every_key_of_the_state_that_the_page_reads_is_sent():
    read = set(re.findall(r"\bstate\.([a-z_]+)", MAIN))
    for names in re.findall(r"const \{([^}]*)\} = state;", MAIN):
        read |= {name.partition(":")[0].strip() for name in names.split(",") if name.strip()}
    source = "\n".join(path.read_text(encoding="utf-8") for path in Path(package.__file__).parent.glob("*.py"))
    sent = set(re.findall(r'\.put\(\s*"(\w+)"', source)) | set(catalogue())
    assert len(read) > 20
    assert read - sent == set()
    told = PAGE.parents[3] / "docs" / "DESK.md"
    if told.is_file():
        assert {one for one in read if f"`{one}`" not in told.read_text(encoding="utf-8")} == set()


def test_every_picture_sign_and_script_of_the_pages_is_there():
    for name in ("index.html", "phone.html"):
        for path in re.findall(r'(?:src|href)="/page/([^"]+)"', (PAGE / name).read_text(encoding="utf-8")):
            assert (PAGE / path).is_file(), path
    signs = set(re.findall(r"^  (\w+): \"M", TEXTS["hand.js"], re.MULTILINE))
    assert signs
    asked = set(re.findall(r'\bsign\("(\w+)"\)|\bsign: "(\w+)"|\bpicture: "(\w+)"', MAIN + TEXTS["phone.js"]))
    assert {one for names in asked for one in names if one} - signs == set()
