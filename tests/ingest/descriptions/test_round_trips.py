"""Any valid build or pack comes back from its text as it was."""

from __future__ import annotations

import tomllib
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.tables.chemistries import CHEMISTRY_NAMES
from ingest.tables.gauges import GAUGE_NAMES
from ingest.tables.insulations import INSULATION_NAMES
from tests.ingest.descriptions.samples import build, pack

# Any valid build comes back as it was


def _maybe(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.one_of(st.just("unknown"), st.none(), strategy)


_POSITIVE = st.floats(0.001, 1e5)
_TEXT = st.text(st.characters(blacklist_categories=["Cs", "Cc"]), max_size=20)


@st.composite
def builds(draw: st.DrawFn) -> dict[str, Any]:
    """A tree of random depth: every node but the first hangs on an earlier one, every end is a controller."""

    def some(**keys: st.SearchStrategy[Any]) -> dict[str, Any]:
        drawn = {key: draw(_maybe(strategy)) for key, strategy in keys.items()}
        return {key: value for key, value in drawn.items() if value is not None}

    count = draw(st.integers(1, 6))
    parents = [draw(st.integers(-1, i - 1)) for i in range(count)]
    inner = set(parents)
    name = [f"node_{i}" if i in inner else f"load_{i}" for i in range(count)]
    wires, contacts = [], []
    for i, parent in enumerate(parents):
        through = []
        for n in range(draw(st.integers(0, 2))):
            contacts.append({"id": f"contact_{i}_{n}"} | some(rated_A=_POSITIVE, resistance_mohm=st.floats(0, 100)))
            through.append(f"contact_{i}_{n}")
        wires.append(
            {"id": f"wire_{i}", "from": "pack" if parent < 0 else name[parent], "to": name[i], "through": through}
            | some(gauge=st.sampled_from(GAUGE_NAMES), insulation=st.sampled_from(INSULATION_NAMES),
                   length_mm=_POSITIVE, limit_degC=st.floats(-60, 1200), enclosed=st.booleans(),
                   laid=st.sampled_from(["open", "sleeved", "bundled"]), conductors=st.integers(1, 3))
        )  # fmt: skip
    controllers = [
        {"id": name[i]} | some(motor_type=st.sampled_from(["brushless", "brushed"]), continuous_A=_POSITIVE)
        for i in range(count)
        if i not in inner
    ]
    motors = [
        {"id": f"motor_{c['id']}", "controller": c["id"]} | some(pole_pairs=st.integers(1, 40)) for c in controllers
    ]
    made: dict[str, Any] = {
        "build": {"id": "b"} | some(robot=_TEXT, summary=_TEXT, mass_kg=_POSITIVE),
        "pack": {"cells": draw(st.integers(1, 60))},
        "wire": wires,
        "contact": contacts,
        "controller": controllers,
        "motor": motors,
        "fuse": [{"id": "fuse", "wire": "wire_0"} | some(rated_A=_POSITIVE, curve=st.just("ISO 8820-3"))],
        "regulator": [{"id": "supply", "from": draw(st.sampled_from(["pack", *name]))} | some(output_V=_POSITIVE)],
    }
    return {key: value for key, value in made.items() if value}


@given(builds())
@settings(max_examples=120, deadline=None)
def test_any_valid_build_comes_back_as_it_was(data: dict[str, Any]) -> None:
    text = tomlkit.dumps(data)
    if tomllib.loads(text) != data:  # the library that makes the text has faults of its own
        return
    made = build(text)
    plural = {"wire": made.wires, "contact": made.contacts, "controller": made.controllers, "motor": made.motors,
              "fuse": made.fuses, "regulator": made.regulators}  # fmt: skip
    for table, parts in plural.items():
        assert len(parts) == len(data.get(table, []))
        for part, written in zip(parts, data.get(table, []), strict=True):
            known = {key: value for key, value in written.items() if value != "unknown"}
            dumped = part.model_dump(by_alias=True, include=None)
            assert {key: _listed(dumped[key]) for key in known} == known
    assert made.cells == data["pack"]["cells"]


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


@given(
    st.fixed_dictionaries(
        {"id": st.just("p1"), "cells": st.integers(1, 60), "capacity_Ah": _POSITIVE},
        optional={"chemistry": st.sampled_from(CHEMISTRY_NAMES), "parallel": st.integers(1, 40), "mass_g": _POSITIVE,
                  "charge_C": _POSITIVE, "in_service": st.dates(), "limit_degC": st.floats(-60, 1200)},
    )
)  # fmt: skip
@settings(max_examples=80, deadline=None)
def test_any_valid_pack_comes_back_as_it_was(data: dict[str, Any]) -> None:
    made = pack(tomlkit.dumps({"pack": data}))
    assert made.model_dump(include=set(data)) == data
