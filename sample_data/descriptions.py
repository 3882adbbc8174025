"""The description files of the demo season: season.toml, builds, packs and matches."""

from __future__ import annotations

from .parts import BuildSpec, Drive, Fuse, Joint, PackSpec, Run

SEASON = """\
# The demo season: an invented robot, invented events, simulated logs.
[season]
name = "Gristmote, first season"
robot = "Gristmote"

[charger]
max_A = 10
max_W = 250
outputs = 2
"""


def _value(x: object) -> str:
    if isinstance(x, bool):
        return "true" if x else "false"
    if isinstance(x, str):
        return '"' + x.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(x, float):
        return f"{x:.10g}" if x == int(x) and abs(x) < 1e9 else repr(x)
    if isinstance(x, tuple | list):
        return "[" + ", ".join(_value(v) for v in x) + "]"
    return str(x)


def _table(head: str, **entries: object) -> str:
    lines = [head, *(f"{k} = {_value(v)}" for k, v in entries.items() if v is not None)]
    return "\n".join(lines) + "\n"


def _run(run: Run) -> str:
    table = _table(
        "[[wire]]",
        id=run.id,
        **{"from": run.start},
        to=run.end,
        gauge=f"{run.awg} AWG",
        length_mm=run.length_mm,
        conductors=run.conductors,
        insulation="silicone",
        through=list(run.through) or None,
    )
    return table


def _joint(joint: Joint) -> str:
    return _table(
        "[[contact]]",
        id=joint.id,
        kind=joint.kind,
        rated_A=joint.rated_A,
        resistance_mohm=joint.resistance_mohm,
        limit_degC=joint.limit_degC,
        rise_at_rated_K=joint.rise_at_rated_K,
        time_constant_s=joint.time_constant_s,
    )


def _fuse(fuse: Fuse) -> str:
    return _table("[[fuse]]", id=fuse.id, wire=fuse.wire, rated_A=fuse.rated_A, curve=fuse.curve)


def _drive(drive: Drive, cutoff_V: float) -> str:
    return (
        _table(
            "[[controller]]",
            id=drive.controller,
            motor_type=drive.kind,
            continuous_A=drive.continuous_A,
            burst_A=drive.burst_A,
            burst_s=drive.burst_s,
            rating_basis=drive.basis,
            limit_degC=drive.limit_degC,
            current_limit_A=drive.current_limit_A,
            cutoff_V=cutoff_V,
            minimum_V=9.0,
            maximum_V=34.0,
            motor_current_is="dc",
            ramp_s=drive.ramp_s or None,
        )
        + "\n"
        + _table(
            "[[motor]]",
            id=drive.motor,
            controller=drive.controller,
            kv_rpm_per_V=drive.kv_rpm_per_V,
            winding_mohm=drive.winding_mohm,
            pole_pairs=drive.pole_pairs if drive.kind == "brushless" else None,
            gear_ratio=drive.gear_ratio,
            limit_degC=drive.motor_limit_degC,
        )
    )


def build_toml(build: BuildSpec, cells: int = 6) -> str:
    parts = [
        _table(
            "[build]",
            id=build.id,
            robot="Gristmote",
            summary=build.summary,
            mass_kg=build.mass_kg,
            mass_limit_kg=13.61,
            air_degC=build.air_degC,
        ),
        _table("[pack]", cells=cells),
        *(_run(r) for r in build.runs),
        *(_joint(j) for j in build.joints),
        *(_fuse(f) for f in build.fuses),
        *(_drive(d, build.cutoff_V) for d in (build.weapon, build.left, build.right)),
        _table(
            "[[regulator]]",
            id="receiver_supply",
            **{"from": "distribution"},
            output_V=5.0,
            rated_A=build.regulator_rated_A,
            minimum_input_V=6.5,
            supplies="receiver",
        ),
        _table("[receiver]", minimum_V=build.receiver_minimum_V),
    ]
    return "\n".join(parts)


def pack_toml(pack: PackSpec) -> str:
    return (
        _table(
            "[pack]",
            id=pack.id,
            chemistry="lithium-polymer",
            cells=pack.cells,
            parallel=1,
            capacity_Ah=pack.capacity_Ah,
            continuous_C=pack.continuous_C,
            burst_C=pack.burst_C,
            burst_s=pack.burst_s,
            charge_C=1.0,
            mass_g=pack.mass_g,
            resistance_mohm=pack.stated_mohm,
            minimum_cell_V=3.3,
            limit_degC=60.0,
        )
        + f"in_service = {pack.in_service}\n"
    )


def match_toml(
    match_id: str,
    event: str,
    opponent: str,
    start: str,
    length_s: int,
    result: str,
    build: str,
    pack: str,
    minutes_to_next: int,
    air_degC: float,
    notes: str,
    ended_s: float | None,
) -> str:
    head = _table("[match]", id=match_id, event=event, opponent=opponent)
    return (
        head
        + f"start = {start}\n"
        + "\n".join(
            _table(
                "",
                length_s=length_s,
                result=result,
                build=build,
                pack=pack,
                minutes_to_next=minutes_to_next,
                air_degC=air_degC,
                notes=notes,
                ended_s=ended_s,
            )
            .lstrip()
            .splitlines()
        )
        + "\n"
    )
