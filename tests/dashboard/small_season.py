"""A small season on disk: some matches of the demo, ingested as the demo does."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from dashboard.reading_options import parts_of
from ingest.align import align
from ingest.season import Season
from sample_data.demo import write_match
from sample_data.descriptions import SEASON, build_toml, pack_toml
from sample_data.parts import BUILDS, PACKS
from sample_data.plan import SEED
from sample_data.season import plans

_MADE: dict[tuple[tuple[str, ...], bool], Path] = {}


def small_season(folder: Path, wanted: Sequence[str], add: bool = True) -> Path:
    """The season folder with the matches named; add: their raw logs are ingested too.

    Made once a process for the same matches, beside the first that is asked for; every caller has a copy of its own.
    """
    key = (tuple(wanted), add)
    if key not in _MADE:
        _MADE[key] = _make(folder.with_name(f"{folder.name}-as-made"), wanted, add)
    return Path(shutil.copytree(_MADE[key], folder))


def _make(folder: Path, wanted: Sequence[str], add: bool) -> Path:
    for name in ("raw", "builds", "packs", "matches"):
        (folder / name).mkdir(parents=True)
    (folder / "season.toml").write_text(SEASON, encoding="utf-8")
    for build in BUILDS.values():
        (folder / "builds" / f"{build.id}.toml").write_text(build_toml(build), encoding="utf-8")
    for pack in PACKS.values():
        (folder / "packs" / f"{pack.id}.toml").write_text(pack_toml(pack), encoding="utf-8")
    for plan in plans(SEED):
        if plan.id in wanted:
            written = write_match(folder, plan, SEED)
            if add:
                season = Season(folder)
                season.add(written.files, plan.id, options=parts_of(season.build(plan.build)), align=align)
    return folder
