"""The house: imports run one way, every command, channel, cause and check is documented, no threshold is naked."""

from __future__ import annotations

import ast
import re
from dataclasses import fields
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("ingest", "analysis", "dashboard", "sample_data")
ALLOWED = {
    "ingest": {"ingest"},
    "analysis": {"analysis", "ingest"},
    "dashboard": {"dashboard", "analysis", "ingest"},
    "sample_data": {"sample_data"},
}
# Only the command that makes the demo may know it.
DEMO_COMMANDS = {"dashboard/cli.py", "dashboard/commands/demo.py"}


def modules() -> list[Path]:
    return [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]


def imported(path: Path) -> set[str]:
    """First names of what a module imports, relative ones resolved to their own package."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(path.relative_to(ROOT).parts[0] if node.level else (node.module or "").split(".")[0])
    return names & set(PACKAGES)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_one_way(path: Path) -> None:
    relative = path.relative_to(ROOT).as_posix()
    allowed = set(ALLOWED[relative.split("/")[0]])
    if relative in DEMO_COMMANDS:
        allowed.add("sample_data")
    assert imported(path) <= allowed


def test_the_packages_listed_are_the_packages_there() -> None:
    import tomllib

    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"])
    there = {
        path.parent.relative_to(ROOT).as_posix().replace("/", ".")
        for package in PACKAGES
        for path in (ROOT / package).rglob("__init__.py")
    }
    assert there == listed


def documents() -> str:
    files = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


def test_every_command_is_in_the_readme() -> None:
    from dashboard.cli import COMMANDS

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [name for name in COMMANDS if f"afterbout {name}" not in readme] == []


def test_every_finding_kind_cause_and_check_is_documented() -> None:
    from analysis.checks import CHECKS
    from analysis.findings import CAUSES, KINDS

    text = documents()
    names = [*KINDS, *CAUSES, *(name for check in CHECKS for name in check.names)]
    assert [name for name in names if f"`{name}`" not in text] == []


def test_every_channel_and_format_is_documented() -> None:
    from ingest.channels import QUANTITIES
    from ingest.formats import formats

    text = documents()
    assert [suffix for suffix in QUANTITIES if f"`{suffix}`" not in text] == []
    assert [form.name for form in formats() if form.name not in text] == []


def test_every_threshold_has_a_reason_and_is_used() -> None:
    from analysis.settings import ABOUT, Settings

    names = [f.name for f in fields(Settings)]
    assert sorted(ABOUT) == sorted(names)
    for name, (_, reason) in ABOUT.items():
        assert re.search(r"our choice|common practice|source|NASA|keeps it within", reason), name
    code = "\n".join(path.read_text(encoding="utf-8") for path in modules() if path.name != "settings.py")
    assert [name for name in names if not re.search(rf"settings\.{name}\b", code)] == []


def test_every_check_and_cause_has_words() -> None:
    from analysis.checks import CHECKS
    from analysis.findings import CAUSES
    from analysis.wording import CAUSE_WORDS, CHECK_WORDS

    assert [n for check in CHECKS for n in check.names if n not in CHECK_WORDS] == []
    quality = {
        "sensor_clipped", "sensor_offset", "frozen_values", "undersampled", "clock_reset", "clock_skew",
        "logger_gap", "truncated",
    }  # fmt: skip
    assert [c for c in CAUSES if c not in CAUSE_WORDS and c not in quality] == []


def test_code_names_no_machine_paths() -> None:
    tracked = [p for p in ROOT.rglob("*") if p.suffix in (".py", ".md", ".toml", ".txt", "") and p.is_file()]
    skip = {".git", ".venv", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis", "build", "dist"}
    found = []
    for path in tracked:
        if skip & set(path.relative_to(ROOT).parts) or path == Path(__file__).resolve():
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        if re.search(r"/home/\w+/|/root/|/Users/\w+/", text):
            found.append(str(path.relative_to(ROOT)))
    assert found == []


def test_every_public_function_of_the_analysis_says_what_it_gives() -> None:
    missing = {
        f"{path.relative_to(ROOT / 'analysis')}:{node.name}"
        for path in sorted((ROOT / "analysis").rglob("*.py"))
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and not ast.get_docstring(node)
    }
    assert missing <= {"thermal.py:check"}
