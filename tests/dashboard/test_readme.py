"""The README stays true: what it shows is what the commands print now."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from dashboard.commands.demo import match_lines

ROOT = Path(__file__).resolve().parent.parent.parent


def block(mark: str) -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"<!-- {mark} -->\n```\w*\n(.*?)```", text, re.DOTALL)
    assert found is not None, mark
    return found[1]


def test_the_demo_output_shown_is_the_demo_output(demo: tuple[Path, dict[str, Any]]) -> None:
    """Every line of every match, to the letter."""
    shown = block("demo output").split("\n\n")[0].splitlines()
    assert shown == [line for document in demo[1].values() for line in match_lines(document)]


def test_the_pictures_shown_are_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert pictures
    assert [p for p in pictures if not (ROOT / p).is_file()] == []


def test_the_linked_pages_are_there() -> None:
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md"):
        links = re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8"))
        assert [x for x in links if "://" not in x and not (ROOT / x).exists()] == []
