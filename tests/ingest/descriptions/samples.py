"""The example files of the tests, and their loaders. The build, pack and match are those of the documentation."""

from __future__ import annotations

from ingest.builds import Build, Match, Pack, build_of
from ingest.description import parse_document
from ingest.matches import match_of
from ingest.packs import pack_of

BUILD = """[build]
id = "b"
robot = "Gristmote"
summary = "12 AWG leads, screw distribution block"
mass_kg = 13.42
mass_limit_kg = 13.61
air_degC = 25

[pack]
cells = 6

[[wire]]
id = "battery_lead"
from = "pack"
to = "distribution"
gauge = "12 AWG"
length_mm = 220
conductors = 2
insulation = "silicone"
through = ["pack_plug", "main_disconnect"]

[[wire]]
id = "weapon_lead"
from = "distribution"
to = "weapon"
gauge = "12 AWG"
length_mm = 160

[[wire]]
id = "weapon_motor_lead"
from = "weapon"
to = "weapon_motor"
area_mm2 = 3.3
conductors = 3

[[contact]]
id = "pack_plug"
kind = "connector"
rated_A = 90
resistance_mohm = 0.4
limit_degC = 105

[[contact]]
id = "main_disconnect"
kind = "disconnect"
rated_A = 150

[[fuse]]
id = "weapon_fuse"
wire = "weapon_lead"
rated_A = 80
curve = "ISO 8820-3"

[[controller]]
id = "weapon"
motor_type = "brushless"
continuous_A = 80
burst_A = 160
burst_s = 10
minimum_V = 9.0
maximum_V = 34.0

[[motor]]
id = "weapon_motor"
controller = "weapon"
pole_pairs = 7
limit_degC = 155

[[regulator]]
id = "receiver_supply"
from = "distribution"
output_V = 5.0
supplies = "receiver"

[receiver]
minimum_V = 4.0

[[sensor]]
channel = "pack_current_A"
wire = "battery_lead"
full_scale = 250
detection = "average"
"""

PACK = """[pack]
id = "p1"
cells = 6
capacity_Ah = 3.3
continuous_C = 50
burst_C = 100
minimum_cell_V = 3.3
in_service = 2026-01-10

[[measured]]
date = 2026-02-01
cell_mohm = [3.1, 3.2, 3.1, 3.0, 3.3, 3.1]
degC = 22
by = "charger"
"""

MATCH = """[match]
id = "m06"
event = "Ostle Barn Open"
start = 2026-05-09T14:20:00
length_s = 180
build = "b"
pack = "p1"
minutes_to_next = 40
ended_s = 95.5

[[log]]
sha256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
name = "weapon.csv"
clock_offset_s = 0.0

[[noted]]
part = "weapon"
quantity = "temp"
value = 61
unit = "degC"
"""


def build(text: str = BUILD) -> Build:
    return build_of(parse_document(text, file="builds/b.toml"), "builds/b.toml")


def pack(text: str = PACK) -> Pack:
    return pack_of(parse_document(text, file="packs/p1.toml"))


def match(text: str = MATCH) -> Match:
    return match_of(parse_document(text, file="matches/m06.toml"))


def changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)
