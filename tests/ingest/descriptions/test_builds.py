"""Build, pack and match files that load, and whether a pack fits a build."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from ingest.builds import fits, load_build, load_match, load_pack
from ingest.errors import DescriptionError
from tests.ingest.descriptions.samples import BUILD, MATCH, PACK, build, changed, match, pack


def test_the_example_build(tmp_path: Path) -> None:
    (tmp_path / "b.toml").write_text(BUILD)
    made = load_build(tmp_path / "b.toml")
    assert (made.id, made.cells, made.source_name) == ("b", 6, "builds/b.toml")
    assert made.wires[0].through == ("pack_plug", "main_disconnect") and made.wires[0].from_ == "pack"
    assert made.wires[2].copper_mm2 == 3.3 and made.fuses[0].curve == "ISO 8820-3"
    assert [contact.pole_count for contact in made.contacts] == [2, 1]
    assert made.receiver.minimum_V == 4.0 and made.sensors[0].full_scale == 250
    assert made.part_kinds()["weapon_motor_lead"] == "wire"


def test_the_example_pack_and_match(tmp_path: Path) -> None:
    (tmp_path / "p1.toml").write_text(PACK)
    (tmp_path / "m06.toml").write_text(MATCH)
    made = load_pack(tmp_path / "p1.toml")
    assert (made.capacity_Ah, made.in_service, made.cell_minimum_V) == (3.3, dt.date(2026, 1, 10), 3.3)
    assert made.measured[0].cell_mohm[4] == 3.3
    fought = load_match(tmp_path / "m06.toml")
    assert fought.start == dt.datetime(2026, 5, 9, 14, 20) and fought.fitted_packs == ("p1",)
    assert fought.logs[0].clock_offset_s == 0.0 and fought.noted[0].value == 61 and fought.ended_s == 95.5


def test_the_least_that_loads() -> None:
    least = build('[build]\nid = "b"\n[pack]\ncells = 3\n')
    assert least.wires == () and least.receiver.minimum_V is None and least.part_kinds() == {"pack": "pack"}
    assert pack('[pack]\nid = "p"\ncells = 3\ncapacity_Ah = 0.5\n').chemistry == "lithium-polymer"
    assert match('[match]\nid = "1"\n').build is None
    alone = build('[build]\nid = "b"\n[pack]\ncells = 3\n[[controller]]\nid = "weapon"\ncontinuous_A = 20\n')
    assert alone.controllers[0].continuous_A == 20, "without any wiring the ratings still count"


@pytest.mark.parametrize(
    ("text", "where"),
    [
        (changed(BUILD, '"12 AWG"', '"unknown"'), lambda b: b.wires[0].gauge),
        (changed(BUILD, "length_mm = 220", 'length_mm = "unknown"'), lambda b: b.wires[0].length_mm),
        (changed(BUILD, '"silicone"', '"unknown"'), lambda b: b.wires[0].insulation),
        (changed(BUILD, '"brushless"', '"unknown"'), lambda b: b.controllers[0].motor_type),
        (changed(BUILD, '"ISO 8820-3"', '"unknown"'), lambda b: b.fuses[0].curve),
        (changed(BUILD, "pole_pairs = 7", 'pole_pairs = "unknown"'), lambda b: b.motors[0].pole_pairs),
        (changed(BUILD, "air_degC = 25", 'air_degC = "unknown"'), lambda b: b.build.air_degC),
    ],
)
def test_unknown_is_none(text: str, where: Any) -> None:
    assert where(build(text)) is None


def test_unknown_for_what_has_a_default_is_the_default() -> None:
    made = build(changed(BUILD, "conductors = 2", 'conductors = "unknown"'))
    assert made.wires[0].conductors == 2 and "conductors" not in made.wires[0].model_fields_set


def test_several_packs_and_trees_of_their_own() -> None:
    text = BUILD.replace(
        "[pack]\ncells = 6", '[[pack]]\nid = "drive_pack"\ncells = 4\n[[pack]]\nid = "weapon_pack"\ncells = 6'
    )
    text = text.replace('from = "pack"', 'from = "weapon_pack"')
    text += '[[wire]]\nid = "drive_lead"\nfrom = "drive_pack"\nto = "drive"\n[[controller]]\nid = "drive"\n'
    assert [slot.cells for slot in build(text).packs] == [4, 6]
    with pytest.raises(DescriptionError, match=r"wire.battery_lead.from: is a reserved name.*drive_pack, weapon_pack"):
        build(text.replace('from = "weapon_pack"', 'from = "pack"'))


@pytest.mark.parametrize(("join", "cells"), [("series", 10), ("parallel", 5)])
def test_joined_packs_feed_one_node(join: str, cells: int) -> None:
    slots = "".join(f'[[pack]]\nid = "half_{x}"\ncells = 5\njoin = "{join}"\n' for x in "ab")
    text = BUILD.replace("[pack]\ncells = 6\n", slots)
    assert build(text).cells == cells, "named together as pack"
    second = '[[wire]]\nid = "lead_b"\nfrom = "half_b"\nto = "distribution"\n'
    assert build(text.replace('from = "pack"', 'from = "half_a"') + second).cells == cells


def test_a_regulator_may_hang_on_a_run_of_its_own() -> None:
    run = '[[wire]]\nid = "supply_lead"\nfrom = "distribution"\nto = "receiver_supply"\n'
    assert build(BUILD + run).wires[-1].to == "receiver_supply"
    with pytest.raises(DescriptionError, match=r'is fed twice: run supply_lead leads to it.*from = "pack"'):
        build(BUILD + run.replace("distribution", "pack"))


def test_other_spellings_of_a_known_name_become_the_name() -> None:
    made = build(BUILD.replace('"silicone"', '"Silicone"').replace('"ISO 8820-3"', '"iso8820-3"'))
    assert made.wires[0].insulation == "silicone" and made.fuses[0].curve == "ISO 8820-3"
    assert pack(PACK.replace('id = "p1"', 'id = "p1"\nchemistry = "LiPo"')).chemistry == "lithium-polymer"


def test_a_fuse_table_may_end_in_never() -> None:
    text = changed(BUILD, '"ISO 8820-3"', "[[1.1, 360000, inf], [1.35, 0.75, 600], [2, 0.15, 5]]")
    assert build(text).fuses[0].curve == ((1.1, 360000.0, float("inf")), (1.35, 0.75, 600.0), (2.0, 0.15, 5.0))


def test_a_start_may_be_a_day_or_have_a_zone_and_ended_may_stand_above() -> None:
    assert match(changed(MATCH, "2026-05-09T14:20:00", "2026-05-09")).start == dt.datetime(2026, 5, 9)
    zoned = match(changed(MATCH, "2026-05-09T14:20:00", "2026-05-09T14:20:00Z")).start
    assert zoned is not None and zoned.tzinfo is not None
    above = match("ended_s = 95.5\n" + changed(MATCH, "ended_s = 95.5\n", ""))
    assert above.ended_s == 95.5
    assert match('[match]\nid = "m"\n[packs]\nweapon_pack = ["p4", "p5"]\ndrive_pack = "p4"\n').fitted_packs == (
        "p4",
        "p5",
    )


# Does a pack fit


def test_fits_says_what_speaks_against_a_pack() -> None:
    assert fits(build(), pack()) == []
    assert fits(build(), pack(PACK.replace("cells = 6", "cells = 4").replace(" 3.0, 3.3,", ""))) == [
        "pack p1 has 4 cells, build b is wired for 6"
    ]
    # 8 cells of 4.20 V full make 33.6 V (4.20 V: general battery pages), 9 make 37.8 V against a trip at 34 V.
    nine = pack(PACK.replace("cells = 6", "cells = 9").replace("3.1]", "3.1, 3, 3, 3]"))
    assert any("37.8 V, weapon trips at 34 V" in text for text in fits(build(), nine))
    assert any("also a part" in text for text in fits(build(), pack(PACK.replace('"p1"', '"weapon"'))))
