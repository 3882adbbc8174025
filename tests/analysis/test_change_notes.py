"""What a change costs that no replay shows is said beside it: torque, packs joined, a fuse past its wire."""

from __future__ import annotations

import pytest

from analysis.change_notes import change_notes
from analysis.changes import changed
from ingest.builds import build_of
from ingest.description import parse_document
from ingest.errors import DescriptionError
from ingest.packs import pack_of
from sample_data.descriptions import build_toml, pack_toml
from sample_data.parts import BUILD_B, PACK_P1

B = build_of(parse_document(build_toml(BUILD_B), file="b.toml"), "builds/b.toml")
P1 = pack_of(parse_document(pack_toml(PACK_P1), file="p.toml"), "packs/p1.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("controller.weapon.current_limit_A=20", "less torque"),
        ("controller.weapon.current_limit_A=300", "cures nothing"),
        ("pack.parallel=2", "alike, of one age and at equal volts"),
        ("fuse.weapon_fuse.rated_A=500", "no fuse would protect the weapon lead"),
        ("controller.weapon.cutoff_V=12", "spoils the pack"),
    ],
)
def test_what_no_replay_shows_is_said(text: str, words: str) -> None:
    notes = change_notes(B, P1, changed(B, P1, [text]))
    assert any(words in note for note in notes), notes


def test_a_better_plug_needs_no_such_words() -> None:
    assert change_notes(B, P1, changed(B, P1, ["contact.pack_plug.resistance_mohm=0.2"])) == ()


@pytest.mark.parametrize("text", ["controller.weapon.current_limit_A=1e9", "fuse.weapon_fuse.rated_A=6000"])
def test_figures_of_no_robot_are_refused(text: str) -> None:
    with pytest.raises(DescriptionError, match="is no figure of a robot"):
        changed(B, P1, [text])
