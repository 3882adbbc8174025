"""SECURITY.md names tests that are there, and every dependency with the version that was tested."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "SECURITY.md").read_text("utf-8")
NOT_LISTED = {
    "pytest-xdist",
    "pandas-stubs",
    "ht",
    "pybamm",
    "pybop",
    "setuptools",
    "afterbout",
}  # tests of figures only


def normal(name: str) -> str:
    return name.lower().replace("_", "-")


def test_every_test_that_is_named_exists() -> None:
    files = {path.name: path.read_text("utf-8") for path in (ROOT / "tests").rglob("test_*.py")}
    code = "\n".join(files.values())
    named = set(re.findall(r"`(test_\w+)`", TEXT))
    assert len(named) >= 15
    assert [name for name in named if f"def {name}(" not in code] == []
    paths = set(re.findall(r"`((?:tests|benchmarks)/[\w/]+(?:\.py)?)`", TEXT))
    assert [path for path in paths if not (ROOT / path).exists()] == []
    assert [name for name in re.findall(r"`(test_\w+\.py)`", TEXT) if name not in files] == []


def test_every_dependency_is_listed_with_its_version() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    every = [*project["dependencies"], *(d for extra in project["optional-dependencies"].values() for d in extra)]
    wanted = {normal(re.split(r"[\[<>=;! ]", one)[0]) for one in every} - NOT_LISTED
    rows = re.findall(r"^\| ([\w-]+) \| ([^|]+) \|", TEXT.partition("## Dependencies")[2], re.MULTILINE)
    listed = {normal(name): version.strip() for name, version in rows}
    assert wanted - set(listed) == set()
    pinned = dict(re.findall(r"^([\w.-]+)==(\S+)$", (ROOT / "constraints.txt").read_text("utf-8"), re.MULTILINE))
    pinned = {normal(name): version for name, version in pinned.items()}
    assert {n: (v, pinned[n]) for n, v in listed.items() if n in pinned and v != pinned[n]} == {}
