"""Invented builds, packs, matches and reviews, made through the real types, for the tests of what a person sees."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np

from analysis.findings import (
    Advice,
    Estimate,
    Event,
    Finding,
    LogUsed,
    MatchFacts,
    NotChecked,
    Occurrence,
    Passed,
    QualityNote,
    Review,
)
from analysis.signal import Signal, signal
from dashboard.reviewing import Bench
from dashboard.source import Entry, Source, Summary, summarise
from ingest.builds import (
    Build,
    BuildHead,
    Contact,
    Controller,
    Fuse,
    LogEntry,
    Match,
    Motor,
    Pack,
    PackSlot,
    Receiver,
    Regulator,
    Wire,
)
from ingest.errors import UsageError


def wire(id: str, start: str, end: str, gauge: str = "12 AWG", length: float = 160, **more: object) -> Wire:
    return Wire.model_validate(
        {"id": id, "from": start, "to": end, "gauge": gauge, "length_mm": length, "insulation": "silicone", **more}
    )


def build_b() -> Build:
    return Build(
        build=BuildHead(id="b", robot="Gristmote", summary="12 AWG, screw block", mass_kg=13.42, mass_limit_kg=13.61),
        packs=(PackSlot(cells=6),),
        wires=(
            wire("battery_lead", "pack", "distribution", length=220,
                 through=("pack_plug", "main_disconnect", "block_terminal")),
            wire("weapon_lead", "distribution", "weapon"),
            wire("left_drive_lead", "distribution", "left_drive", "14 AWG", 180),
            wire("right_drive_lead", "distribution", "right_drive", "14 AWG", 180),
            wire("receiver_lead", "distribution", "receiver_supply", "20 AWG", 90),
        ),
        contacts=(
            Contact(id="pack_plug", kind="connector", rated_A=90, resistance_mohm=0.4, limit_degC=105),
            Contact(id="main_disconnect", kind="disconnect", rated_A=150, resistance_mohm=0.3),
            Contact(id="block_terminal", kind="terminal", rated_A=100, resistance_mohm=0.2),
        ),
        fuses=(Fuse(id="weapon_fuse", wire="weapon_lead", rated_A=80, curve="ISO 8820-3"),),
        controllers=(
            Controller(id="weapon", motor_type="brushless", continuous_A=80, burst_A=160, burst_s=10, cutoff_V=18.0,
                       limit_degC=100),
            Controller(id="left_drive", motor_type="brushed", continuous_A=40),
            Controller(id="right_drive", motor_type="brushed", continuous_A=40),
        ),
        motors=(
            Motor(id="weapon_motor", controller="weapon"),
            Motor(id="left_motor", controller="left_drive"),
            Motor(id="right_motor", controller="right_drive"),
        ),
        regulators=(
            Regulator.model_validate(
                {"id": "receiver_supply", "from": "distribution", "output_V": 5.0, "rated_A": 5.0}
            ),
        ),
        receiver=Receiver(minimum_V=4.0),
        source_name="builds/b.toml",
    )  # fmt: skip


def pack_p1() -> Pack:
    return Pack(id="p1", cells=6, capacity_Ah=3.3, continuous_C=50, burst_C=100, burst_s=10, minimum_cell_V=3.3)


def match_m06() -> Match:
    return Match(
        id="m06", event="Ostle Barn Open", opponent="Fennimore", start=dt.datetime(2026, 5, 9, 14, 20), length_s=180,
        result="lost", build="b", pack="p1", minutes_to_next=38, notes="smelled hot near the plug",
        logs=(LogEntry(sha256="3f9a" + "0" * 60, name="pack.csv", clock_offset_s=0.0),),
    )  # fmt: skip


def _passed() -> tuple[Passed, ...]:
    def row(check: str, part: str, x: float, limit: float, unit: str, margin: float, low: float, high: float,
            source: str = "builds/b.toml") -> Passed:  # fmt: skip
        return Passed(check, part, x, limit, unit, margin, low, high, source)

    solder = "63/37 solder melts, NASA NTRS"
    return (
        row("wire_temperature", "battery_lead", 71, 183, "degC", 70.9, 66, 78, solder),
        row("wire_temperature", "weapon_lead", 48, 183, "degC", 82, 45, 52, solder),
        row("wire_temperature", "left_drive_lead", 36, 183, "degC", 89, 35, 38, solder),
        row("wire_temperature", "right_drive_lead", 36, 183, "degC", 89, 35, 38, solder),
        row("wire_temperature", "receiver_lead", 31, 183, "degC", 92, 30, 33, solder),
        row("burst_current", "weapon", 136, 160, "A", 15, 134, 138, "builds/b.toml weapon.burst_A"),
        row("contact_current", "pack_plug", 49, 90, "A", 45.6, 48, 50, "builds/b.toml pack_plug.rated_A"),
        row("contact_current", "main_disconnect", 49, 150, "A", 67.3, 48, 50, "builds/b.toml main_disconnect.rated_A"),
        row("controller_temperature", "weapon", 54, 100, "degC", 56, 54, 54, "builds/b.toml weapon.limit_degC"),
        row("rail_voltage", "receiver", 4.98, 4.0, "V", 98, 4.96, 5.0, "builds/b.toml receiver.minimum_V"),
        row("pack_current", "pack", 165, 330, "A", 50, 163, 167, "packs/p1.toml burst_C"),
        row("fuse_curve", "weapon_fuse", 0.31, 1.0, "1", 69, 0.2, 0.5, "ISO 8820-3:2010, table"),
    )


def _findings() -> tuple[Finding, ...]:
    candidates = ("pack_plug", "main_disconnect", "block_terminal")
    return (
        Finding(
            kind="wiring_fault", cause="joint_step", part="battery_lead", channel="weapon_voltage_V",
            start_s=74.3, end_s=183.1, measured=12.0, low=11.4, high=12.6, unit="mohm", verdict="fault",
            confidence="likely", could_be=candidates, facts={"added_mohm": 9.0, "before_mohm": 3.0},
            evidence=("3.0 to 12.0 mΩ at 74.3 s",), id="f1",
            sentence="The battery lead gained 9 mΩ at 74.3 s, in the plug, the disconnect or the terminal.",
        ),
        Finding(
            kind="thermal_buildup", cause="contact_heating", part="battery_lead", channel=None, start_s=119.0,
            end_s=183.1, measured=129, low=109, high=156, unit="degC", verdict="over", confidence="likely",
            limit=105, margin_pct=-30.0, could_be=candidates, rating_source="builds/b.toml pack_plug.limit_degC",
            check="contact_temperature", consequence_of="f1", id="f2",
            sentence="A battery lead joint reached about 129 °C; it is rated 105 °C.",
        ),
        Finding(
            kind="voltage_sag", cause="joint_step", part="weapon", channel="weapon_voltage_V", start_s=160.4,
            end_s=160.6, measured=18.4, low=18.3, high=18.5, unit="V", verdict="close", confidence="certain",
            limit=18.0, margin_pct=5.6, rating_source="builds/b.toml weapon.cutoff_V", check="controller_cutoff",
            consequence_of="f1", id="f3",
            occurrences=(Occurrence(160.4, 160.6, 18.4), Occurrence(74.5, 74.6, 18.9)),
            sentence="The weapon controller's input fell to 18.4 V; it cuts off at 18.0 V.",
        ),
        Finding(
            kind="voltage_sag", cause="pack_empty", part="pack", channel="pack_voltage_V", start_s=160.3, end_s=161.3,
            measured=3.40, low=3.39, high=3.41, unit="V", verdict="close", confidence="certain", limit=3.30,
            margin_pct=9.1, rating_source="packs/p1.toml minimum_cell_V", check="cell_minimum", id="f4",
            sentence="The pack's cells fell to 3.40 V on average; their minimum is 3.30 V.",
        ),
    )  # fmt: skip


def _signals() -> dict[str, Signal]:
    """A logged match of 185 s: spikes every 7 s, a pack that sags with them, a radio gap of 1.6 s."""
    t = np.arange(0, 185, 0.02)
    moving = (t > 12.4) & (t < 183.1)
    spike = np.exp(-((t % 7.0) / 0.4)) * moving
    current = 12 * moving + 140 * spike
    volts = 25.2 - 0.012 * current - 0.01 * t
    slow = np.arange(0, 185, 0.1)
    slow = slow[(slow < 121.0) | (slow > 122.6)]
    return {
        "pack_current_A": signal("pack_current_A", t, current),
        "weapon_input_current_A": signal("weapon_input_current_A", t, current * 0.8),
        "pack_voltage_V": signal("pack_voltage_V", t, volts),
        "weapon_voltage_V": signal("weapon_voltage_V", t, volts - 0.009 * current * (t > 74.3)),
        "weapon_temp_degC": signal("weapon_temp_degC", slow, 25 + 0.15 * slow),
        "weapon_motor_speed_rpm": signal("weapon_motor_speed_rpm", t, 9000.0 * moving * (1 - 0.5 * spike)),
        "receiver_rail_voltage_V": signal("receiver_rail_voltage_V", slow, np.full(len(slow), 4.99)),
        "link_quality_pct": signal("link_quality_pct", slow, 95 + 3 * np.sin(slow)),
    }


def _curves() -> dict[str, object]:
    t = np.linspace(0, 185, 741)
    joint = 31 + np.where(t > 74.3, 98 * (1 - np.exp(-(t - 74.3).clip(0) / 40)), 0)
    lead = 25 + 46 * (1 - np.exp(-t / 90))
    windows = np.geomspace(0.1, 170, 66)
    rms = 165 / (1 + (windows / 6) ** 1.1) ** 0.55
    return {
        "signals": _signals(),
        "wire_degC:battery_lead": (t, lead),
        "contact_degC:pack_plug": (t, joint),
        "envelope:pack": (windows, np.maximum(rms, 42.0)),
    }


def review_m06() -> Review:
    """A joint that went bad at a hit: over, fault and close findings, one chain."""
    return Review(
        match=MatchFacts(
            "m06", "b", "p1", 12.4, 183.1, "over",
            (
                LogUsed("pack.csv", "3f9a" + "1" * 58 + "c1", 92_000, 0.0, 0.0, None, None),
                LogUsed("weapon.csv", "77b0" + "2" * 58 + "4e", 180_000, 0.412, 11.0, 0.83, 0.004),
            ),
            "Ostle Barn Open", "Fennimore", "lost", 38,
        ),
        quality=(QualityNote("logger_gap", "link_quality_pct", "link", 121.0, 122.6, "no samples for 1.6 s"),),
        estimates=(
            Estimate("pack_resistance_1s_mohm", "pack", 24.1, 23.2, 25.0, "mohm", "fit over the match"),
            Estimate("pack_peak_A", "pack", 165, 163, 167, "A", "largest 0.1 s r.m.s."),
            Estimate("pack_mean_A", "pack", 36, 35.6, 36.4, "A", "mean over the match"),
            Estimate("charge_used_Ah", "pack", 1.69, 1.67, 1.71, "Ah", "integral"),
            Estimate("cell_minimum_V", "pack", 3.40, 3.39, 3.41, "V", "lowest 1 s mean"),
        ),
        findings=_findings(),
        passed=_passed(),
        not_checked=(
            NotChecked("cell_balance", "pack", "the log has pack voltage only",
                       "Measure each cell now; log the balance lead next time."),
            NotChecked("controller_temperature", "left_drive", "no motor current and no temperature in the log",
                       "Log motor current."),
            NotChecked("controller_temperature", "right_drive", "no motor current and no temperature in the log",
                       "Log motor current."),
            NotChecked("motor_temperature", "weapon_motor", "no channel and no winding data", "Fit a sensor."),
        ),
        advice=(
            Advice(1, "remake pack_plug, main_disconnect, block_terminal", ("f1", "f2"),
                   {"measured": 129.0, "unit": "degC"}, {"measured": 39.0, "low": 36.0, "high": 43.0, "unit": "degC"},
                   0.0, 15, True, "", "Remake plug, disconnect and terminals: 15 of your 38 minutes, 0 g."),
            Advice(2, "wire.battery_lead.gauge = 10 AWG", ("f3",), {"measured": 18.4, "unit": "V"},
                   {"measured": 19.9, "low": 19.7, "high": 20.1, "unit": "V"}, 9.0, 25, True, "",
                   "Battery lead in 10 AWG: 25 minutes, 9 g."),
            Advice(3, "controller.weapon.current_limit_A = 100", ("f3",), {"measured": 129.0, "unit": "degC"},
                   {"measured": 98.0, "low": 84.0, "high": 118.0, "unit": "degC"}, 0.0, 2, True,
                   "leaves the bad joint in", "Limit the weapon to 100 A: 2 minutes; it leaves the bad joint in."),
        ),
        chain=(
            Event(74.2, "Hit", "weapon drops from 9,760 to 4,200 rpm", "note"),
            Event(74.3, "Battery lead +9 mΩ", "3.0 to 12.0 mΩ, and it stays", "fault", "f1"),
            Event(119.0, "Joint passes 105 °C", "18 W on average from here", "over", "f2"),
            Event(160.4, "Down to 18.4 V", "controller cuts off at 18.0 V", "close", "f3"),
            Event(161.8, "Joint peaks at 129 °C", "still hot when the match ends", "over", "f2"),
        ),
        lines=(
            "A battery lead joint reached about 129 °C; it is rated 105 °C.",
            "The hit at 74 s added 9 mΩ: at 130 A, 1.2 V lost and 152 W of heat.",
            "Remake plug, disconnect and terminals: 15 of your 38 minutes, 0 g.",
        ),
        cautions=(
            "Estimates are not certification; event rules, makers' data and local codes come first.",
            "Before power: main disconnect mechanical and in reach, power light working, weapon restrained.",
            "Charge watched, in the event's place; a hot, puffed or punctured pack goes out of the building.",
        ),
        curves=_curves(),
    )  # fmt: skip


def calm_review() -> Review:
    """Nothing went past anything; no chain, no advice."""
    whole = review_m06()
    calm = (
        Passed("controller_cutoff", "weapon", 20.9, 18.0, "V", 40.0, 20.8, 21.0, "builds/b.toml weapon.cutoff_V"),
        Passed("cell_minimum", "pack", 3.62, 3.3, "V", 35.6, 3.61, 3.63, "packs/p1.toml minimum_cell_V"),
        Passed("contact_temperature", "pack_plug", 41, 105, "degC", 80, 36, 47, "builds/b.toml pack_plug.limit_degC"),
    )
    return replace(
        whole, match=replace(whole.match, verdict="within"), findings=(), passed=whole.passed + calm,
        advice=(), chain=(),
        lines=("Nothing went past its rating.", "The smallest margin is 15 %, at the weapon controller.",
               "No action."),
    )  # fmt: skip


def unknown_review() -> Review:
    """A log too slow to say anything, no build to hold it against."""
    return Review(
        match=MatchFacts(
            "m12", None, None, None, None, "unknown", (LogUsed("slow.csv", "ab" * 32, 360, 0, 0, None, None),)
        ),
        quality=(QualityNote("undersampled", "pack_current_A", "pack", 0.0, 180.0, "2 samples a second"),),
        estimates=(Estimate("pack_peak_A", "pack", 122, 122, math.inf, "A", "largest sample"),),
        findings=(),
        passed=(),
        not_checked=(NotChecked("burst_current", "pack", "2 samples a second", "Log at 50 Hz or faster."),),
        lines=("No verdict: the log holds 2 samples a second.", "A peak lasts a tenth of a second.", "Log at 50 Hz."),
        cautions=review_m06().cautions,
    )  # fmt: skip


def bench_m06(review: Review | None = None) -> Bench:
    """The match laid out as the pages get it; the samples behind the review are not needed to draw it."""
    return Bench(None, review or review_m06(), build_b(), (pack_p1(),), match_m06())  # type: ignore[arg-type]


class MadeUpSource(Source):
    """Two matches and one that cannot be read, without a season folder."""

    def __init__(self) -> None:
        super().__init__(None)
        self.reviews = {"m06": review_m06(), "m07": calm_review()}
        self.asked: list[str] = []

    def entries(self) -> list[Entry]:
        return [Entry(f"{i:012x}", name, match_m06().model_copy(update={"id": name}))
                for i, name in enumerate(("m06", "m07", "m08"), start=1)]  # fmt: skip

    def bench(self, entry: Entry) -> Bench:
        self.asked.append(entry.title)
        if entry.title not in self.reviews:
            raise UsageError("match m08 has no logs yet", mend="Add them with: afterbout add")
        return bench_m06(self.reviews[entry.title])

    def summary(self, entry: Entry) -> Summary | None:
        try:
            return summarise(self.bench(entry))
        except UsageError as error:
            return Summary("unknown", "", None, {}, str(error))

    def review_all(self) -> None:
        return


def build_of_twelve() -> Build:
    """One pack, a distribution block and twelve branches."""
    names = [f"load_{i}" for i in range(1, 13)]
    return Build(
        build=BuildHead(id="wide", robot="Gristmote", summary="twelve branches"),
        packs=(PackSlot(cells=8),),
        wires=(
            wire("battery_lead", "pack", "distribution", "8 AWG", 200, through=("pack_plug",)),
            *(wire(f"{name}_lead", "distribution", name, "16 AWG") for name in names),
        ),
        contacts=(Contact(id="pack_plug", rated_A=90),),
        controllers=tuple(Controller(id=name, continuous_A=30) for name in names),
        motors=tuple(Motor(id=f"{name}_motor", controller=name, count=2) for name in names),
        source_name="builds/wide.toml",
    )


def build_of_two_packs() -> Build:
    """Separate weapon and drive packs, a sub-block, motor leads as runs of their own."""
    return Build(
        build=BuildHead(id="two", robot="Gristmote", summary="weapon and drive packs apart"),
        packs=(PackSlot(id="weapon_pack", cells=6), PackSlot(id="drive_pack", cells=4)),
        wires=(
            wire("weapon_battery_lead", "weapon_pack", "weapon", "8 AWG", 150, through=("weapon_plug",)),
            wire("weapon_motor_lead", "weapon", "weapon_motor", "10 AWG", 120, conductors=3),
            wire("drive_battery_lead", "drive_pack", "drive_block", "12 AWG", 120, through=("drive_plug",)),
            wire("left_lead", "drive_block", "left_block", "14 AWG", 200),
            wire("front_left_lead", "left_block", "front_left", "16 AWG", 80),
            wire("rear_left_lead", "left_block", "rear_left", "16 AWG", 90),
            wire("right_lead", "drive_block", "right_drive", "14 AWG", 200),
        ),
        contacts=(Contact(id="weapon_plug"), Contact(id="drive_plug")),
        controllers=tuple(Controller(id=i) for i in ("weapon", "front_left", "rear_left", "right_drive")),
        motors=(
            Motor(id="weapon_motor", controller="weapon"),
            Motor(id="front_left_motor", controller="front_left"),
            Motor(id="rear_left_motor", controller="rear_left"),
            Motor(id="right_motor", controller="right_drive", count=2),
        ),
        regulators=(Regulator.model_validate({"id": "receiver_supply", "from": "drive_block", "output_V": 5.0}),),
        source_name="builds/two.toml",
    )
