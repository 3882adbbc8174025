"""Build files that are refused: where, what stood there, and the mend."""

from __future__ import annotations

import pytest

from ingest.errors import DescriptionError
from tests.ingest.descriptions.samples import BUILD, build, changed

# What is refused: (old, new, what the error says). The line is that of the change.

BAD_BUILDS = [
    ('gauge = "12 AWG"', 'gague = "12 AWG"', r'"gague" is not a key of \[wire.battery_lead\]. Did you mean "gauge"'),
    ('gauge = "12 AWG"', 'gague = "unknown"', r'Did you mean "gauge"'),
    ('gauge = "12 AWG"', 'gauge = "12"', r'wire.battery_lead.gauge: is not a known gauge \(found \'12\'\).*"12 AWG"'),
    ('gauge = "12 AWG"', 'gauge = "12 AGW"', r"is not a known gauge.*Did you mean '12 AWG'"),
    ('gauge = "12 AWG"', "gauge = 12", r"is not text \(found 12\); expected text in quotes"),
    ('gauge = "12 AWG"', 'gauge = "12 AWG"\narea_mm2 = 3.3', r"area_mm2: stands beside gauge"),
    ("length_mm = 220", "length_cm = 22", r"unit of this figure is in its name: length_mm \(millimetres\)"),
    ("length_mm = 220", "length = 220", r"The unit is part of the name: length_mm"),
    ("length_mm = 220", "length_mm = -220", r"length_mm: is out of range \(found -220\); expected above 0 mm"),
    ("length_mm = 220", "length_mm = 0", r"is out of range"),
    ("length_mm = 220", "length_mm = nan", r"is not a finite number"),
    ("length_mm = 220", "length_mm = inf", r"is not a finite number"),
    ("length_mm = 220", "length_mm = true", r"is not a number \(found True\)"),
    ("length_mm = 220", 'length_mm = "220 mm"', r"is not a number.*Write: length_mm = 220"),
    ("length_mm = 220", 'length_mm = "short"', r'write "unknown" or leave the line out'),
    ("length_mm = 220", "length_mm = [220]", r"is not a number"),
    ('insulation = "silicone"', 'insulation = "silicon"', r"is not a known insulation.*Did you mean 'silicone'"),
    ("conductors = 2", "conductors = 4", r"expected at most 3"),
    ("conductors = 2", "conductors = 2.5", r"is not a whole number"),
    ("cells = 6", 'cells = "6"', r"pack.cells: is not a number.*a whole number, without quotes.*Write: cells = 6"),
    ("cells = 6", "cells = 6.0", r"is not a whole number.*Write: cells = 6"),
    ("cells = 6", 'cells = "unknown"', r'pack.cells: cannot be "unknown"'),
    ("cells = 6", "cells = 61", r"expected at most 60"),
    ('id = "b"', 'id = "B 1"', r'build.id: is not in the form of an id.*For example "b_1"'),
    ('id = "b"', "", r'build.id: the key "id" is missing'),
    ('id = "pack_plug"', 'id = "cell3"', r"cell3.*is a reserved name"),
    ('id = "pack_plug"', 'id = "weapon_lead"', r"is used twice: it is also the id of a wire"),
    ('id = "weapon_fuse"', 'id = "chassis"', r"is a reserved name"),
    ('id = "weapon_fuse"', f'id = "{"f" * 41}"', r"at most 40"),
    ('from = "distribution"', 'from = "distribtion"', r'weapon_lead.from: is a missing node.*you mean "distribution"'),
    ('from = "distribution"', 'from_ = "distribution"', r'"from_" is not a key here. Did you mean "from"'),
    ('to = "weapon"', 'to = "wepon"', r'weapon_lead.to: is a missing node.*no controller, motor or.*"weapon"'),
    ('to = "weapon"', 'to = "receiver"', r"is a reserved name.*supplies"),
    ('to = "weapon"', 'to = "pack_plug"', r'is a contact, not a node.*through = \["pack_plug"\]'),
    ('to = "weapon"', 'to = "weapon_fuse"', r"is a fuse, not a node"),
    ('to = "weapon"', 'to = "Weapon!"', r"is not in the form of an id"),
    ('to = "weapon"', 'to = "pack"', r"is a pack: runs lead from the pack"),
    ('to = "weapon"', 'to = "distribution"', r"is where the run begins: a loop"),
    ('to = "weapon_motor"', 'to = "weapon"', r"is where the run begins: a loop"),
    ('"main_disconnect"]', '"main_disconect"]', r'through.2: names a contact that is not there.*"main_disconnect"'),
    ('"main_disconnect"]', '"pack_plug"]', r"names a contact that is already in run battery_lead"),
    ('length_mm = 160', 'through = ["pack_plug"]', r"already in run battery_lead"),
    ('wire = "weapon_lead"', 'wire = "weapon_led"', r'weapon_fuse.wire: names a wire that is not there.*"weapon_lead"'),
    ('curve = "ISO 8820-3"', 'curve = "ISO 8821"', r"is not a known fuse curve.*ISO 8820-3"),
    ('curve = "ISO 8820-3"', "curve = [[2, 1, 3]]", r"needs at least two rows"),
    ('curve = "ISO 8820-3"', "curve = [[2, 1], [3, 1, 2]]", r"row 1: write three numbers"),
    ('curve = "ISO 8820-3"', "curve = 4", r"fuse table"),
    ('motor_type = "brushless"', 'motor_type = "bldc"', r'is not one of the known words.*"brushless" or "brushed"'),
    ("burst_A = 160", "burst_A = 60", r"controller.weapon.burst_A: is below continuous_A.*at least 80"),
    ("maximum_V = 34.0", "maximum_V = 8", r"is below minimum_V"),
    ("limit_degC = 155", "limit_degC = 15500", r"expected at most 1200 degC"),
    ("limit_degC = 155", 'insulation_class = "Q"', r"IEC 60085"),
    ('controller = "weapon"', 'controller = "weapn"', r'motor.weapon_motor.controller: names a controller.*"weapon"'),
    ('supplies = "receiver"', 'supplies = "reciever"', r'regulator.receiver_supply.supplies.*Did you mean "receiver"'),
    ('channel = "pack_current_A"', 'channel = "pack_amps"', r"sensor.1.channel: is not a channel"),
    ('channel = "pack_current_A"', 'channel = "pakc_current_A"', r'part "pakc" that is not there.*Did you mean "pack"'),
    ('wire = "battery_lead"', 'wire = "battery"', r"sensor.1.wire: names a wire that is not there"),
    ('wire = "battery_lead"', 'at = "nowhere"', r"sensor.1.at: names a node that is not there"),
    ('detection = "average"', 'detection = "averages"', r'Did you mean "average"'),
    ("[receiver]", "[reciever]", r'there is no "reciever" in this kind of file. Did you mean "receiver"'),
    ("[receiver]", "[[receiver]]", r"is not one table. Write it once, as \[receiver\]"),
    ("[[fuse]]", "[fuse]", r"fuse: is not a list of tables. Write \[\[fuse\]\]"),
    ("[build]", "[[build]]", r"build: is not one table"),
    ('robot = "Gristmote"', 'source_name = "x"', r'"source_name" is not a key|is not a key of \[build\]'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), BAD_BUILDS, ids=[new[:40] for _, new, _ in BAD_BUILDS])
def test_a_wrong_build_is_located(old: str, new: str, message: str) -> None:
    text = changed(BUILD, old, new)
    with pytest.raises(DescriptionError, match=message) as caught:
        build(text)
    error = caught.value
    assert error.file == "builds/b.toml" and error.column and error.exit_code == 1
    first = BUILD[: BUILD.index(old)].count("\n") + 1
    last = first + new.count("\n")
    assert error.line is not None
    if old not in ('id = "b"', 'id = "pack_plug"') or "in the form" in error.what:  # else at the other part of that id
        assert first <= error.line <= last, error.line


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[pack]\ncells = 6\n', r"builds/b.toml: has no \[build\]"),
        ('[build]\nid = "b"\n', r"has no \[pack\]. Add \[pack\] with cells"),
        ('pack = []\n[build]\nid = "b"\n', r"has no \[pack\]"),
        ('[build]\nid = "b"\n[pack]\n', r'line 3, pack.cells: the key "cells" is missing'),
        ('[build]\nid = "b"\n[[pack]]\ncells = 3\n[[pack]]\ncells = 3\n', r"line 5, pack.2.id: is used twice"),
        (BUILD.replace('from = "pack"', 'from = "weapon_motor"'), r"is part of a loop \(.*battery_lead"),
        (BUILD + '[[wire]]\nid = "x"\nfrom = "distribution"\nto = "weapon"\n',
         r"is fed by two runs, weapon_lead and x.*parallel = 2"),
        (BUILD + '[[controller]]\nid = "drive"\n', r"controller.drive.id: is a missing node: no run leads"),
        (BUILD.replace('id = "receiver_supply"\nfrom = "distribution"', 'id = "receiver_supply"\nfrom = "x"'),
         r"regulator.receiver_supply.from: is a missing node"),
        (BUILD.replace('from = "weapon"\nto = "weapon_motor"', 'from = "distribution"\nto = "weapon_motor"'),
         r'is not behind the controller of this motor.*from = "weapon"'),
        (BUILD + '[[wire]]\nid = "x"\nfrom = "weapon_motor"\nto = "y"\n[[controller]]\nid = "y"\n',
         r"is a motor: no run starts"),
        (BUILD + '[[wire]]\nid = "x"\nfrom = "weapon"\nto = "y"\n[[controller]]\nid = "y"\n',
         r"only motor leads start there"),
    ],
)  # fmt: skip
def test_a_build_that_does_not_hang_together(text: str, message: str) -> None:
    with pytest.raises(DescriptionError, match=message):
        build(text)


def test_every_fault_of_a_file_is_named_at_once() -> None:
    text = (
        BUILD.replace("length_mm = 220", "length_mm = -1")
        .replace('"brushless"', '"x"')
        .replace("cells = 6", "cells = 0")
    )
    with pytest.raises(
        DescriptionError, match=r"line 10, pack.cells.*Wrong too: line 17 wire.battery_lead.length_mm; line \d+"
    ):
        build(text)
