"""Rows of an older recording behind the end of a file: they make no verdict, and the review says that they stand there.

The file is made by laying new bytes over old ones (tests/ingest/delimited/corpus_leftovers.py): 60 s of a pack at 25 V,
behind it two minutes of another one at 16 V.
"""

from __future__ import annotations

from pathlib import Path

from analysis.review import review
from ingest.builds import Pack
from ingest.formats import read_log
from ingest.log import Log, Provenance
from tests.ingest.delimited.corpus_leftovers import later_leftovers_cut_in_a_row


def made(folder: Path) -> Log:
    path = folder / "pack.csv"
    path.write_bytes(later_leftovers_cut_in_a_row().data)
    return read_log(path)


def test_no_verdict_rests_on_them(tmp_path: Path) -> None:
    log = made(tmp_path)
    assert log.provenance.clock is not None and log.provenance.clock.leftovers_from == 1
    assert Provenance.from_json(log.provenance.to_json()) == log.provenance
    document = review([log], None, Pack(id="p1", cells=6, capacity_Ah=3.3, minimum_cell_V=3.3)).to_dict()
    lowest = [row["measured"] for row in document["passed"] if row["check"] == "pack_sag"]
    assert lowest and lowest[0] > 22.0  # the older recording never came above 16.3 V
    assert not document["findings"]
    (note,) = [q for q in document["quality"] if q["code"] == "leftovers"]
    assert "perhaps left over" in note["note"] and 59.0 <= note["start_s"] <= 61.0
