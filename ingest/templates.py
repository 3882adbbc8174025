"""What `new` starts a season from: a build, a pack and a match file, valid at once, in the words of a builder.

Only the user knows the ratings of the parts, so they stand as "unknown" and the checks that need them say so. Cells,
gauges and lengths are typical of the weight class (common practice, no source) and are marked to be replaced.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from ingest.tables.gauges import parse_gauge
from ingest.toml_text import toml_value
from ingest.weight_classes import DEFAULT_CLASS, KG_PER_LB, WEIGHT_CLASSES, WeightClass, parse_weight_class

TYPICAL = "typical, not yours: measure and replace"
MotorType = Literal["brushless", "brushed"]
Weapon = Literal["brushless", "brushed", "none"]


_DRIVE_NAMES = {1: ("drive",), 2: ("drive_left", "drive_right")}


def template_build(
    weight_class: str = DEFAULT_CLASS,
    *,
    build_id: str = "b",
    robot: str = "",
    mass_kg: float | None = None,
    cells: int | None = None,
    weapon: Weapon = "brushless",
    weapon_A: float | None = None,
    drives: int = 2,
    drive_type: MotorType = "brushless",
    main_gauge: str | None = None,
) -> str:
    """A commented builds/<id>.toml that loads as it is. drives: controllers of the drive, 0 to 8, one motor each.

    weapon_A: continuous rating of the weapon's controller. None: not known.
    """
    usual = WEIGHT_CLASSES[parse_weight_class(weight_class)]
    if not 0 <= drives <= 8 or (drives == 0 and weapon == "none"):
        raise ValueError("a build has at least one controller, and at most eight for the drive")
    names = _DRIVE_NAMES.get(drives) or tuple(f"drive_{n + 1}" for n in range(drives))
    parts = [
        _head(usual, build_id, robot, mass_kg),
        _pack_slot(usual, cells),
        _main_run(usual, main_gauge),
    ]
    if weapon != "none":
        parts.append(_branch("weapon", usual.weapon_gauge, usual.length_mm, weapon, weapon_A))
    for name in names:
        parts.append(_branch(name, usual.drive_gauge, usual.length_mm, drive_type, None))
    parts.append(_RECEIVER)
    return "\n".join(parts)


def _guess(key: str, value: object, known: bool = False) -> str:
    line = f"{key} = {toml_value(value)}"
    return line if known else f"{line}  # {TYPICAL}"


def _head(usual: WeightClass, build_id: str, robot: str, mass_kg: float | None) -> str:
    mass = toml_value("unknown" if mass_kg is None else mass_kg)
    return f"""# One wiring and its ratings. "unknown" is a good answer: the checks that need the figure then say so.
# What is marked as typical is a guess for the {usual.name} class (common practice, no source).
[build]
id = {toml_value(build_id)}  # also the name of this file
robot = {toml_value(robot)}
summary = ""
mass_kg = {mass}
mass_limit_kg = {usual.limit_kg:.4g}
air_degC = "unknown"  # inside the chassis before the match
"""


def _pack_slot(usual: WeightClass, cells: int | None) -> str:
    return f"""[pack]
{_guess("cells", cells or usual.cells, cells is not None)}
"""


def _main_run(usual: WeightClass, main_gauge: str | None) -> str:
    return f"""# Runs form a tree from "pack" to the loads; the current in each follows from the loads below it.
[[wire]]
id = "battery_lead"
from = "pack"
to = "distribution"
{_guess("gauge", main_gauge or usual.main_gauge, main_gauge is not None)}
{_guess("length_mm", usual.length_mm)}, one way
conductors = 2  # out and return
insulation = "silicone"
through = ["pack_plug", "main_disconnect"]  # contacts in series in this run

[[contact]]
id = "pack_plug"
kind = "connector"
rated_A = "unknown"  # from the maker's data
resistance_mohm = "unknown"  # of one pole
limit_degC = "unknown"  # of its housing

[[contact]]
id = "main_disconnect"  # mechanical, within reach: event rules come first
kind = "disconnect"
rated_A = "unknown"
resistance_mohm = "unknown"
"""


def _branch(name: str, gauge: str, length_mm: int, motor_type: MotorType, rated_A: float | None) -> str:
    rating = toml_value("unknown" if rated_A is None else rated_A)
    poles = 'pole_pairs = "unknown"  # magnets divided by two\n' if motor_type == "brushless" else ""
    return f"""[[wire]]
id = "{name}_lead"
from = "distribution"
to = "{name}"
{_guess("gauge", gauge)}
{_guess("length_mm", round(0.7 * length_mm, -1))}, one way
conductors = 2
insulation = "silicone"

[[controller]]
id = "{name}"
motor_type = "{motor_type}"
continuous_A = {rating}
burst_A = "unknown"
burst_s = "unknown"
rating_basis = "input"  # or "motor": which current the figures are about
limit_degC = "unknown"
current_limit_A = "unknown"  # its own limiter, if set
cutoff_V = "unknown"  # its own low-voltage cutoff, if any
minimum_V = "unknown"  # below this it restarts
maximum_V = "unknown"  # above this it trips

[[motor]]
id = "{name}_motor"
controller = "{name}"
kv_rpm_per_V = "unknown"
winding_mohm = "unknown"
{poles}gear_ratio = "unknown"
limit_degC = "unknown"
# insulation_class = "F"  # as its plate shows it (IEC 60085): the limit where limit_degC is not known
"""


_RECEIVER = """[[regulator]]  # what makes the receiver's supply, also where it is built into a controller
id = "receiver_supply"
from = "distribution"
output_V = "unknown"
rated_A = "unknown"
minimum_input_V = "unknown"
supplies = "receiver"

[receiver]
minimum_V = "unknown"  # below this it loses the radio

# Fuses, if any:
# [[fuse]]
# id = "main_fuse"
# wire = "battery_lead"
# rated_A = 80
# curve = "ISO 8820-3"  # or rows of [multiple of the rating, min_s, max_s]
"""


def template_pack(
    weight_class: str = DEFAULT_CLASS,
    *,
    pack_id: str = "p1",
    cells: int | None = None,
    capacity_Ah: float | None = None,
) -> str:
    """A commented packs/<id>.toml that loads as it is; one such file for each physical pack."""
    usual = WEIGHT_CLASSES[parse_weight_class(weight_class)]
    return f"""# One physical pack; its figures describe the whole pack. Copy it for the next one, with a new id.
[pack]
id = {toml_value(pack_id)}  # also the name of this file; write it on the pack
chemistry = "lithium-polymer"
{_guess("cells", cells or usual.cells, cells is not None)}
parallel = 1
{_guess("capacity_Ah", capacity_Ah or usual.capacity_Ah, capacity_Ah is not None)}
continuous_C = "unknown"  # from the label: it can fail a pack, never vouch for it
burst_C = "unknown"
burst_s = "unknown"
charge_C = 1.0  # more only where the maker allows it
mass_g = "unknown"
resistance_mohm = "unknown"  # at 1 s, 25 degC, half charge; stated or measured when new
minimum_cell_V = 3.3  # under load (common practice, no source)
limit_degC = 60  # common practice, no source; the maker's figure comes first
# in_service = 2026-01-10

# What a charger or meter showed:
# [[measured]]
# date = 2026-01-10
# cell_mohm = {toml_value([3.5] * (cells or usual.cells))}
# degC = 22
# by = "charger"
"""


def example_match(match_id: str = "m01", *, build: str = "b", pack: str = "p1") -> str:
    """A commented matches/<id>.toml; `add` makes one as well, and writes its [[log]] entries."""
    return f"""[match]
id = {toml_value(match_id)}  # also the name of this file
event = ""
opponent = ""
# start = 2026-05-09T14:20:00
# length_s = 180
result = ""
build = {toml_value(build)}
pack = {toml_value(pack)}  # the pack that was really fitted
# minutes_to_next = 40
# air_degC = 18
notes = ""
# ended_s = 95  # where it ended early
# ended_by = "knockout"

# What a person read off:
# [[noted]]
# part = "weapon"
# quantity = "temp"
# value = 61
# unit = "degC"
# when = "two minutes after"
# by = "infrared thermometer"
"""


@dataclass(frozen=True)
class Question:
    """One question of `new`. parse turns the answer into the value of `key`, or raises ValueError with the mend."""

    key: str
    text: str
    parse: Callable[[str], Any]
    default: Any = None


def questions() -> tuple[Question, ...]:
    """Ten short questions; Enter means "don't know" and leaves the default of the weight class."""
    return (
        Question("robot", "Name of the robot", str.strip),
        Question("weight_class", f"Weight class ({', '.join(WEIGHT_CLASSES)})", parse_weight_class),
        Question("mass_kg", "Mass of the robot, in kg", lambda t: _figure(t, {"kg": 1.0, "g": 0.001, "lb": KG_PER_LB})),
        Question("cells", "Cells in series in its pack", lambda t: _whole(t.lower().removesuffix("s"), 1, 60)),
        Question("capacity_Ah", "Capacity of the pack, in Ah", lambda t: _figure(t, {"Ah": 1.0, "mAh": 0.001})),
        Question("weapon", "Weapon motor (brushless, brushed, none)", _one_of("brushless", "brushed", "none")),
        Question("weapon_A", "Continuous rating of the weapon's controller, in A", lambda t: _figure(t, {"A": 1.0})),
        Question("drives", "How many controllers the drive has", lambda t: _whole(t, 0, 8)),
        Question("drive_type", "Drive motors (brushless, brushed)", _one_of("brushless", "brushed")),
        Question("main_gauge", 'Wire of the battery lead ("12 AWG", "4 mm2")', _gauge),
    )


def season_files(answers: Mapping[str, Any]) -> dict[str, str]:
    """The files of a new season from the answers that were given; those that are None are left to the class."""
    given = {key: value for key, value in answers.items() if value is not None}
    weight_class = given.pop("weight_class", DEFAULT_CLASS)
    capacity_Ah = given.pop("capacity_Ah", None)
    if given.get("drives") == 0 and given.get("weapon") == "none":
        raise ValueError("a build without weapon and drive has nothing to look at: name one of them")
    return {
        "builds/b.toml": template_build(weight_class, **given),
        "packs/p1.toml": template_pack(weight_class, cells=given.get("cells"), capacity_Ah=capacity_Ah),
        "examples/match.toml": example_match(),
        **_reading_examples(),
    }


def _reading_examples() -> dict[str, str]:
    from ingest.readings_examples import EXAMPLE_BINARY_READING, EXAMPLE_TEXT_READING

    return {
        "examples/text_reading.toml": EXAMPLE_TEXT_READING,
        "examples/binary_reading.toml": EXAMPLE_BINARY_READING,
    }


def _figure(text: str, units: Mapping[str, float]) -> float:
    """A positive figure, in the first unit where none is written."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?|\.\d+)\s*([A-Za-z]*)\s*", text)
    known = {name.lower(): factor for name, factor in units.items()}
    unit = found[2].lower() if found and found[2] else next(iter(known))
    if found is None or unit not in known or float(found[1]) <= 0:
        raise ValueError(f"write a figure above 0 with a decimal point, in {' or '.join(units)}")
    return float(f"{float(found[1]) * known[unit]:.6g}")


def _whole(text: str, low: int, high: int) -> int:
    if not re.fullmatch(r"\s*\d{1,3}\s*", text) or not low <= int(text) <= high:
        raise ValueError(f"write a whole number from {low} to {high}")
    return int(text)


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        found = [word for word in words if word.startswith(text.strip().lower())]
        exact = [word for word in words if word == text.strip().lower()]
        if len(exact or found) != 1:
            raise ValueError(f"write {', '.join(words[:-1])} or {words[-1]}")
        return (exact or found)[0]

    return parse


def _gauge(text: str) -> str:
    parse_gauge(text)
    return text.strip()
