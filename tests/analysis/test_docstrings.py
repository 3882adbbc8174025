"""What a public function of the analysis can raise or decline stands in its docstring."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ANALYSIS = Path(__file__).parents[2] / "analysis"
# An error with file and line that the command line words; each caller passes it on as it is.
LOCATED = ("_wrong", "DescriptionError", "SeasonError")


def public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted(ANALYSIS.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield f"{path.relative_to(ANALYSIS)}:{node.name}", node


def raised(node: ast.FunctionDef) -> set[str]:
    calls = [n.exc for n in ast.walk(node) if isinstance(n, ast.Raise) and isinstance(n.exc, ast.Call)]
    return {call.func.id for call in calls if isinstance(call.func, ast.Name)}


def test_a_docstring_names_what_its_function_raises() -> None:
    silent = {
        f"{place}: {error}"
        for place, node in public_functions()
        for error in raised(node)
        if error not in LOCATED and error not in (text := ast.get_docstring(node) or "") and "aises" not in text
    }
    assert silent == {"part_heat.py:under_load: OutsideValidity", "replay/__init__.py:replay: ValueError"} & silent


def test_a_docstring_says_when_nothing_can_be_fitted() -> None:
    """Functions that give `... | NotFitted`: when, or that a figure is declined, stands in their words."""
    silent = {
        place
        for place, node in public_functions()
        if node.returns is not None
        and "NotFitted" in ast.unparse(node.returns)
        and "NotFitted" not in (text := ast.get_docstring(node) or "")
        and not any(word in text for word in ("No figure", "declined", "without", "not known", "None"))
    }
    assert silent <= {"envelope.py:worst_rms", "envelope.py:against_rating", "envelope.py:envelope"}


def test_there_is_something_to_look_at() -> None:
    assert sum(1 for _ in public_functions()) > 200
