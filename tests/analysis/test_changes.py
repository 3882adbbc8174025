"""KEY=VALUE: what is changed, what is weighed, and errors that say what was wrong and the mend."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.changes import changed, parse_pair
from ingest.builds import Build, Pack, build_of
from ingest.description import parse_document
from ingest.errors import DescriptionError
from ingest.packs import pack_of
from sample_data.descriptions import build_toml, pack_toml
from sample_data.parts import BUILD_B, PACK_P1, PACK_P3

B: Build = build_of(parse_document(build_toml(BUILD_B), file=Path("b.toml")), "builds/b.toml")
P1: Pack = pack_of(parse_document(pack_toml(PACK_P1), file=Path("p1.toml")), "packs/p1.toml")
P3: Pack = pack_of(parse_document(pack_toml(PACK_P3), file=Path("p3.toml")), "packs/p3.toml")
PACKS = {"p1": P1, "p3": P3}


def wire(build: Build, name: str) -> object:
    return next(w for w in build.wires if w.id == name)


def test_a_gauge_is_changed_and_weighed() -> None:
    """12 to 10 AWG, 220 mm out and back: copper 3.31 to 5.26 mm² (ASTM B258) is 7.6 g at 8.89 g/cm³, jacket on top."""
    found = changed(B, P1, ["wire.battery_lead.gauge=10 AWG"])
    assert wire(found.build, "battery_lead").gauge == "10 AWG"  # type: ignore[attr-defined]
    assert wire(B, "battery_lead").gauge == "12 AWG"  # type: ignore[attr-defined]
    copper = (5.261 - 3.309) * 8.89e-3 * 440
    assert found.adds_g is not None and copper < found.adds_g < copper + 4.0
    assert found.as_dict() == {"wire.battery_lead.gauge": "10 AWG"}


def test_parallel_packs_scale_their_figures() -> None:
    found = changed(B, P1, ["pack.parallel=2"])
    assert found.pack is not None
    assert (found.pack.capacity_Ah, found.pack.resistance_mohm, found.pack.mass_g) == (6.6, 12.0, 1040.0)
    assert found.adds_g == 520.0
    stated = changed(B, P1, ["pack.parallel=2", "pack.resistance_mohm=15"]).pack
    assert stated is not None and stated.resistance_mohm == 15.0


def test_another_pack_of_the_season() -> None:
    found = changed(B, P1, ["pack=p3"], PACKS)
    assert found.pack == P3 and found.other and found.adds_g == 90.0


def test_mass_that_is_not_known_is_not_invented() -> None:
    bare = P3.model_copy(update={"mass_g": None})
    found = changed(B, P1, ["pack=p3"], {"p3": bare})
    assert found.adds_g is None and found.unweighed == ("pack",)


ERRORS = [
    ("wire.batery_lead.gauge=10 AWG", 'build b has no wire "batery_lead"', 'Did you mean "battery_lead"?'),
    ("contact.weapon_lead.rated_A=3", 'has no contact "weapon_lead"', "It is a wire"),
    ("wire.battery_lead.gauge=11.5", "is not a known gauge", "Name the unit"),
    ("wire.battery_lead.gauge=60 AWG", "is not a known gauge", "AWG goes from 0000 to 40"),
    ("wire.battery_lead.guage=10 AWG", '"guage" is not a key of it', 'Did you mean "gauge"?'),
    ("wire.battery_lead.length_mm=-3", "is out of range", ""),
    ("wire.battery_lead.length_mm=long", "is not a number", ""),
    ("wire.battery_lead.from=weapon", "is another wiring", "Copy the build file"),
    ("wire.battery_lead=10", "names a part, not a figure", "wire.battery_lead.from=…"),
    ("wire.battery_lead.joints=new", "can only be remade", ""),
    ("motor.weapon_motor.kv_rpm_per_V=400", "is another motor", "gear ratio"),
    ("contact.main_disconnect=removed", "is not taken out or bypassed", "resistance_mohm"),
    ("pack=p9", 'there is no pack "p9"', "p3"),
    ("pack.colour=red", '"colour" is not a key of it', ""),
    ("pack.start_pct=140", "is not a charge", ""),
    ("controller.weapon.maximum_V=10", "is below cutoff_V", ""),
    ("weapon=5", 'there is no "weapon"', ""),
    ("nonsense", "is not KEY=VALUE", "--set"),
    ("=5", "is not KEY=VALUE", "--set"),
]


@pytest.mark.parametrize(("text", "what", "mend"), ERRORS, ids=[e[0] for e in ERRORS])
def test_what_cannot_be_changed_says_why(text: str, what: str, mend: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        changed(B, P1, [text], PACKS)
    assert what in str(caught.value)
    assert mend in str(caught.value)
    assert caught.value.file == "--set"


def test_a_key_set_twice_is_an_error() -> None:
    with pytest.raises(DescriptionError, match="is set twice"):
        changed(B, P1, ["pack.parallel=2", "pack.parallel=3"])


@given(st.text(max_size=40))
def test_any_text_is_a_pair_or_a_located_error(text: str) -> None:
    try:
        key, value = parse_pair(text)
    except DescriptionError as error:
        assert error.file == "--set" and error.mend
    else:
        assert key and value


@given(st.text(alphabet="wirepackcontactl.=_0123456789 AWG", max_size=40))
def test_any_setting_is_made_or_refused_never_a_traceback(text: str) -> None:
    try:
        changed(B, P1, [text], PACKS)
    except DescriptionError as error:
        assert error.what
