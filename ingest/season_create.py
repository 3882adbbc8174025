"""Making a season folder: everything is checked before anything is written, season.toml last."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

from ingest.builds import build_of
from ingest.description import Complaint, parse_document
from ingest.errors import SeasonError
from ingest.matches import Match, match_of
from ingest.packs import pack_of
from ingest.readings import parse_reading
from ingest.season_file import Setting, season_settings_of, season_text
from ingest.store import Store

_IGNORED = """# Derived or passing: not worth keeping under version control.
results/
.lock
.lock_owner
*.part
"""
# Examples are for reading: nothing in a season loads them.
_FILE_FOLDERS = ("builds", "packs", "matches", "readings", "examples")
_FOLDERS = ("builds", "packs", "matches", "readings", "telemetry", "originals")
_CHECKS: dict[str, tuple[str, Callable[..., Any]]] = {
    "builds": ("build", build_of),
    "packs": ("pack", pack_of),
    "matches": ("match", match_of),
}


def create_season(
    root: Path, name: str, robot: str, thresholds: Sequence[Setting], files: Mapping[str, str], store: Store
) -> None:
    """See Season.create."""
    text = season_text(name, robot, thresholds)
    season_settings_of(parse_document(text, file=root / "season.toml"), thresholds)
    _check_files(root, files)
    if root.exists() and not root.is_dir():
        raise SeasonError("is a file", file=root, mend="Name a folder that is not there yet.")
    if (root / "season.toml").exists():
        raise SeasonError("is a season already", file=root, mend="Name another folder, or edit this one's files.")
    for relative in files:
        if (root / relative).exists():
            raise SeasonError("is there already", file=root / relative, mend="Name another folder, or move it away.")
    for folder in _FOLDERS:
        store.make_folder(root / folder)
    for relative, content in files.items():
        store.write_text(root / relative, content)
    if not (root / ".gitignore").exists():
        store.write_text(root / ".gitignore", _IGNORED)
    store.write_text(root / "season.toml", text)


def _check_files(root: Path, files: Mapping[str, str]) -> None:
    """Raise for a text that does not load, an id that is not its name, a match whose build or pack is not there."""
    ids: dict[str, set[str]] = {kind: set() for kind in _CHECKS}
    matches: list[tuple[Match, Any]] = []
    for relative, text in files.items():
        path = PurePosixPath(relative)
        if len(path.parts) != 2 or path.parts[0] not in _FILE_FOLDERS or path.name.startswith("."):
            raise ValueError(f"not a file of a new season: {relative!r}")
        kind = path.parts[0]
        if path.suffix != ".toml" or kind == "examples":
            continue
        if kind == "readings":
            parse_reading(text, file=root / relative)
            continue
        table, check = _CHECKS[kind]
        document = parse_document(text, file=root / relative)
        made = check(document, relative)
        if made.id != path.stem:
            complaint = Complaint((table, "id"), "is not the name of the file", made.id, f'"{path.stem}"')
            raise document.error([complaint])
        ids[kind].add(made.id)
        if kind == "matches":
            matches.append((made, document))
    for match, document in matches:
        missing = [("build", match.build)] if match.build not in {None, *ids["builds"]} else []
        missing += [("pack", p) for p in match.fitted_packs if p not in ids["packs"]]
        if missing:
            raise document.error([Complaint(("match", k), f"names a {k} that is not there", v) for k, v in missing])
