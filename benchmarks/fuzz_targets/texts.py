"""The TOML files that a builder writes, and the edits made to them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from benchmarks.fuzz_targets.mutators import toml_values
from benchmarks.fuzz_targets.target import One, Target


def _described(load: Callable[[], Callable[[Path], Any]]) -> Callable[[Path], One]:
    """A loader of a description file, over one file that is written anew for each input."""

    def prepare(folder: Path) -> One:
        loader, path = load(), folder / "x.toml"

        def one(data: bytes) -> object:
            path.write_bytes(data)
            return loader(path)

        return one

    return prepare


def _build() -> Callable[[Path], Any]:
    from ingest.builds import load_build

    return load_build


def _pack() -> Callable[[Path], Any]:
    from ingest.packs import load_pack

    return load_pack


def _match() -> Callable[[Path], Any]:
    from ingest.matches import load_match

    return load_match


def _season() -> Callable[[Path], Any]:
    from analysis.season_review import threshold_settings
    from ingest.season_file import load_season_settings

    known = threshold_settings()
    return lambda path: load_season_settings(path, known)


def _reading() -> Callable[[Path], Any]:
    from ingest.readings import load_reading

    return load_reading


def _edits(folder: Path) -> One:
    """note and add change a file of the user's: what was there stays, what was asked for is there."""
    from ingest.description import parse_document
    from ingest.matches import match_of
    from ingest.toml_text import edit

    def one(data: bytes) -> object:
        text = data.decode("utf-8", "replace")
        cut = len(text) // 2
        document = parse_document(text, file="x.toml")
        match_of(document)  # as both commands do first
        value = text[cut : cut + 40]
        changed = edit(text, file="x.toml", keys={("match",): {"notes": value}}, append=[("noted", {"by": value})])
        after = parse_document(changed, file="x.toml").data
        assert after["match"]["notes"] == value and after["noted"][-1]["by"] == value, "the edit was lost"
        before = {k: v for k, v in document.data.items() if k not in ("match", "noted")}
        # compared as text: a NaN is not equal to itself
        assert repr({k: v for k, v in after.items() if k in before}) == repr(before), "the edit changed other keys"
        return changed

    return one


def build_texts() -> Sequence[bytes]:
    from ingest.templates import template_build

    whole = template_build("30lb")
    return [_SMALL_BUILD.encode(), whole.encode(), template_build("150g", weapon="none").encode()]


def _pack_texts() -> Sequence[bytes]:
    return [_PACK.encode(), (_PACK + "\n[[measured]]\ndate = 2026-05-09\ncell_mohm = [3.1, 3.2]\n").encode()]


def _match_texts() -> Sequence[bytes]:
    return [_MATCH.encode(), _MATCH.replace('pack = "p1"\n', "").encode() + b'[packs]\nmain = ["p1", "p2"]\n']


def _season_texts() -> Sequence[bytes]:
    from analysis.season_review import threshold_settings
    from ingest.season_file import season_text

    commented = season_text("Spring", "Gristmote", threshold_settings())
    return [_SEASON.encode(), commented.replace("\n# ", "\n").encode()[:3000], commented.encode()[:3000]]


def _reading_texts() -> Sequence[bytes]:
    from ingest.readings_examples import EXAMPLE_BINARY_READING, EXAMPLE_TEXT_READING

    return [EXAMPLE_BINARY_READING.encode(), EXAMPLE_TEXT_READING.encode()]


_SMALL_BUILD = """[build]
id = "b"
[pack]
cells = 6
[[wire]]
id = "lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 220
through = ["plug"]
[[contact]]
id = "plug"
kind = "connector"
rated_A = 90
[[fuse]]
id = "f"
wire = "lead"
rated_A = 80
curve = [[1.35, 60, 1800], [2.0, 5, 60.0]]
[[controller]]
id = "weapon"
continuous_A = 80
burst_A = 160
burst_s = 10
[[sensor]]
channel = "pack_current_A"
wire = "lead"
full_scale = 200
"""
_PACK = """[pack]
id = "p1"
chemistry = "lithium-polymer"
cells = 6
parallel = 1
capacity_Ah = 3.3
in_service = 2026-01-10
"""
_MATCH = """[match]
id = "m06"
event = "Ostle Barn Open"
start = 2026-05-09T14:20:00+02:00
length_s = 180
build = "b"
pack = "p1"
notes = ""
[[log]]
sha256 = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
name = "weapon.csv"
clock_offset_s = -0.25
[[noted]]
part = "pack"
quantity = "temp"
value = 61.5
unit = "degC"
"""
_SEASON = """[season]
name = "Spring"
robot = "Gristmote"
[charger]
max_A = 20
outputs = 2
"""

TARGETS = (
    Target("toml_build", "builds/<id>.toml", build_texts, _described(_build), mutate=toml_values),
    Target("toml_pack", "packs/<id>.toml", _pack_texts, _described(_pack), mutate=toml_values),
    Target("toml_match", "matches/<id>.toml", _match_texts, _described(_match), mutate=toml_values),
    Target("toml_season", "season.toml", _season_texts, _described(_season), mutate=toml_values),
    Target("toml_reading", "readings/<name>.toml", _reading_texts, _described(_reading), mutate=toml_values),
    Target("toml_edit", "the edits that add and note make to a match file", _match_texts, _edits, mutate=toml_values),
)
