"""The written folder: its description files, its bytes, its clocks, and what the package may import."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sample_data
from sample_data import demo_logs, write_demo

PACKAGE = Path(sample_data.__file__).parent


def load(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text("utf-8"))


def test_everything_is_there(season: Any) -> None:
    names = {p.relative_to(season.folder).as_posix() for p in season.folder.rglob("*.toml")}
    assert names == {
        "season.toml",
        *(f"builds/{b}.toml" for b in "abc"),
        *(f"packs/p{i}.toml" for i in (1, 2, 3)),
        *(f"matches/m{i:02d}.toml" for i in range(1, 13)),
    }
    assert list(season.matches) == [f"m{i:02d}" for i in range(1, 13)]
    for match in season.matches.values():
        assert all(p.parent == season.folder / "raw" / match.id and p.is_file() for p in match.files)
        assert set(match.files) == set((season.folder / "raw" / match.id).iterdir())


def test_matches_name_builds_and_packs_that_exist_and_carry_no_logs_yet(season: Any) -> None:
    for match in season.matches.values():
        described = load(season.folder / "matches" / f"{match.id}.toml")
        assert set(described) == {"match"}
        assert (described["match"]["build"], described["match"]["pack"]) == (match.build, match.pack)
        assert (season.folder / "builds" / f"{match.build}.toml").is_file()
        assert (season.folder / "packs" / f"{match.pack}.toml").is_file()


def test_builds_form_a_tree_from_the_pack(season: Any) -> None:
    for path in sorted((season.folder / "builds").iterdir()):
        build = load(path)
        parents = {w["to"]: w["from"] for w in build["wire"]}
        assert len(parents) == len(build["wire"])
        leaves = {x["id"] for kind in ("controller", "motor", "regulator") for x in build[kind]}
        for leaf in leaves:
            node = leaf
            while node != "pack":
                node = parents[node]
        contacts = {c["id"] for c in build["contact"]}
        assert {t for w in build["wire"] for t in w.get("through", [])} == contacts
        ids = [
            x["id"]
            for kind in ("wire", "contact", "fuse", "controller", "motor", "regulator")
            for x in build.get(kind, [])
        ]
        assert len(set(ids)) == len(ids)
        assert build["build"]["mass_kg"] < build["build"]["mass_limit_kg"]


def test_sizes(season: Any) -> None:
    sizes = [p.stat().st_size for p in season.folder.rglob("*") if p.is_file()]
    assert max(sizes) < 3e6
    assert sum(sizes) < 25e6


def test_the_same_bytes_in_another_process(season: Any, tmp_path: Path) -> None:
    """Another process, another hash seed: the same bytes."""
    code = (
        "import sys; from pathlib import Path\n"
        "from sample_data.demo import write_match\n"
        "from sample_data.season import plans\n"
        "from sample_data.plan import SEED\n"
        "folder = Path(sys.argv[1]); (folder / 'raw').mkdir(); (folder / 'matches').mkdir()\n"
        "for plan in plans():\n"
        "    if plan.id in ('m03', 'm08', 'm12'): write_match(folder, plan, SEED)\n"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "77", "PYTHONPATH": str(PACKAGE.parent)}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, env=environment, cwd=tmp_path)
    written = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert len(written) == 5 + 5 + 1 + 3
    for path in written:
        assert path.read_bytes() == (season.folder / path.relative_to(tmp_path)).read_bytes(), path.name


def test_a_folder_that_is_missing_or_not_empty_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no such folder"):
        write_demo(tmp_path / "nowhere")
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(FileExistsError, match="not empty"):
        write_demo(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["note.txt"]


def test_demo_logs_has_twelve_matches() -> None:
    with pytest.raises(ValueError, match="1 to 12"):
        demo_logs(13)


def test_planted_times_lie_in_the_first_file(season: Any, raw: Any) -> None:
    for match in season.matches.values():
        log = raw(match.id, match.files[0].name)
        ticks = log.seconds()
        end = float(ticks[-1]) if match.id != "m12" else 200.0
        for planted in match.planted:
            assert 0.0 <= planted.start_s <= planted.end_s <= end, (match.id, planted)


@pytest.mark.parametrize("number", [1, 5, 10])
def test_the_true_clocks_bring_the_voltages_together(raw: Any, number: int) -> None:
    """Each device's input voltage follows the pack's, at the true offset better than 60 ms to either side."""
    truth = demo_logs(number)
    match = f"m{number:02d}"
    pack = raw(match, "pack_logger.csv")
    t = pack.seconds()
    pack_V = next(x for n, x in pack.columns.items() if n.startswith(("Vbat", "Pack voltage")))
    for clock in truth.clocks[1:4]:
        log = raw(match, clock.file)
        voltage = next(x for n, x in log.columns.items() if n.startswith(("Input voltage", "Vin")))

        def likeness(shift_s: float, log: Any = log, voltage: Any = voltage, clock: Any = clock) -> float:
            on_match = log.seconds() * (1.0 + clock.clock_drift_ppm * 1e-6) + clock.clock_offset_s + shift_s
            common = (t > max(20.0, on_match[0])) & (t < on_match[-1])
            seen = np.interp(t[common], on_match, voltage)
            return float(np.corrcoef(np.diff(seen, n=1), np.diff(pack_V[common], n=1))[0, 1])

        there = likeness(0.0)
        assert there > 0.4, clock
        assert there > likeness(-0.06) and there > likeness(0.06), clock


def test_the_package_imports_only_numpy_scipy_and_the_standard_library() -> None:
    allowed = set(sys.stdlib_module_names) | {"numpy", "scipy"}
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [node.module or ""]
            else:
                continue
            assert {n.partition(".")[0] for n in names} <= allowed, path.name
