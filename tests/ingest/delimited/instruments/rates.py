"""Rows at uneven distances, pauses, and which way a current counts. All values are invented."""

from __future__ import annotations

import math
import random
from datetime import timedelta

from tests.ingest.delimited.instruments.made import (
    PC,
    PV,
    START,
    VI,
    Fact,
    Made,
    case,
    cycler,
    de,
    drive,
    enc,
    soc_volts,
)


@case
def adaptive_interval() -> Made:
    # one row a second, thirty seconds apart while nothing moves
    r = random.Random(200)
    T = []
    V = []
    A = []
    t = 0.0
    q = 0
    for step in range(12):
        on = step % 2 == 0
        for _k in range(120 if on else 40):
            a = round(8 + r.gauss(0, 0.05), 3) if on else 0.0
            q += a / 3600
            T.append(round(t, 2))
            A.append(a)
            V.append(round(soc_volts(max(0.1, 1 - q / 4), 4) - 0.03 * a + r.gauss(0, 0.002), 3))
            t += 1.0 if on else 30.0
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{T[k]:.2f},{V[k]:.3f},{A[k]:.3f}" for k in range(len(T))]
    return Made(enc(L), T, VI(V, A))


@case
def ever_slower() -> Made:
    # pulse test: rows at logarithmic distances within each pulse
    r = random.Random(201)
    T = []
    V = []
    A = []
    t = 0.0
    for pulse in range(20):
        a = [10.0, 0.0][pulse % 2]
        for k in range(60):
            0.01 * 1.2**k
            T.append(round(t + 0.01 * (1.2**k - 1) / 0.2, 4))
            A.append(a)
            V.append(
                round(soc_volts(1 - pulse * 0.03, 1) - 0.02 * a - 0.005 * a * math.log1p(k) + r.gauss(0, 0.0003), 4)
            )
        t = T[-1] + 0.5
    L = ["Test time / s;U / V;I / A"] + [f"{T[k]:.4f};{V[k]:.4f};{A[k]:.1f}" for k in range(len(T))]
    return Made(enc(L), T, {"U / V": Fact("voltage", V, None, PV), "I / A": Fact("current", A, None, PC)})


@case
def on_change() -> Made:
    # a row whenever something changed
    r = random.Random(202)
    T = []
    V = []
    A = []
    t = 0.0
    for k in range(1500):
        t += r.choice([0.01, 0.02, 0.02, 0.05, 0.1, 0.3, 2.0, 15.0] if k % 50 == 0 else [0.01, 0.02, 0.05, 0.1, 0.2])
        T.append(round(t, 3))
        A.append(round(abs(r.gauss(10, 8)), 2))
        V.append(round(25 - 0.03 * A[-1], 2))
    L = ["t [s],U [V],I [A]"] + [f"{T[k]:.3f},{V[k]:.2f},{A[k]:.2f}" for k in range(len(T))]
    return Made(enc(L), T, {"U [V]": Fact("voltage", V, None, PV), "I [A]": Fact("current", A, None, PC)})


@case
def cycler_many_rates() -> Made:
    R = cycler(203, dt=7.0)
    T = []
    rows = []
    for r in R:
        if r[1] < 140 or int(r[1] / 7) % 9 == 0:
            T.append(r[0])
            rows.append(r)
    L = ["Test Time (h),Step Time (h),Step,U (V),I (A)"] + [
        f"{r[0] / 3600:.7f},{r[1] / 3600:.7f},{r[3]},{r[6]:.4f},{r[5]:.5f}" for r in rows
    ]
    return Made(
        enc(L),
        T,
        {
            "U (V)": Fact("voltage", [r[6] for r in rows], None, (*PV, "cell1_voltage_V")),
            "I (A)": Fact("current", [-r[5] for r in rows], None, PC),
        },
        tol=2e-3,
    )


@case
def paused_days() -> Made:
    A, V, _H = drive(900, 1, 204)
    T = [float(k + (86400 * 3.2 if k >= 450 else 0)) for k in range(900)]
    L = ["Date Time,Volts,Amps"]
    for k in range(900):
        d = START + timedelta(seconds=T[k])
        L.append(f"{d:%Y-%m-%d %H:%M:%S},{V[k]},{A[k]}")
    return Made(enc(L), T, VI(V, A, "Volts", "Amps"), must_say=("clock_gap",))


@case
def scaled_tenths() -> Made:
    A, V, H = drive(900, 0.1, 205)
    L = ["time ms;voltage (x0.1 V);current (x10 mA);temp (0.1 C)"] + [
        f"{100 * k};{round(V[k] * 10)};{round(A[k] * 100)};{round(H[k] * 10)}" for k in range(900)
    ]
    return Made(
        enc(L),
        [0.1 * k for k in range(900)],
        {
            "voltage (x0.1 V)": Fact("voltage", [round(v * 10) / 10 for v in V], [float(round(v * 10)) for v in V], PV),
            "current (x10 mA)": Fact("current", A, [float(round(a * 100)) for a in A], PC),
            "temp (0.1 C)": Fact("temperature", H, [float(round(h * 10)) for h in H]),
        },
    )


@case
def charger_log() -> Made:
    # a charger: its current counts into the battery, and it says so
    R = cycler(206, cycles=1, Ic=3.0, cap=5.0, R=0.02)
    R = [r for r in R if r[4] in ("CC", "CV")]
    L = ["Time (s),Output voltage (mV),Charge current (mA),Charged (mAh),Internal temp (C)"] + [
        f"{r[0]:.0f},{r[6] * 1000:.0f},{r[5] * 1000:.0f},{r[7] * 1000:.0f},{r[9]:.0f}" for r in R
    ]
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Charge current (mA)": Fact(
                "current", [-round(r[5], 3) for r in R], [float(round(r[5] * 1000)) for r in R], PC
            ),
            "Output voltage (mV)": Fact(
                "voltage",
                [round(r[6], 3) for r in R],
                [float(round(r[6] * 1000)) for r in R],
                (*PV, "cell1_voltage_V"),
            ),
        },
    )


@case
def charge_only_plain() -> Made:
    # only charging, plain names: the voltage climbs while the current falls away
    R = cycler(207, cycles=1, Ic=2.0, cap=3.0)
    R = [r for r in R if r[4] in ("CC", "CV")]
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{r[0]:.0f},{r[6]:.4f},{r[5]:.4f}" for r in R]
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (A)": Fact("current", [-r[5] for r in R], [round(r[5], 4) for r in R], PC),
        },
    )


@case
def discharge_only_negative() -> Made:
    R = cycler(208, cycles=1, Id=2.0, cap=3.0)
    R = [r for r in R if r[4] == "DCh"]
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{r[1]:.0f},{r[6]:.4f},{r[5]:.4f}" for r in R]
    return Made(
        enc(L),
        [r[1] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (A)": Fact("current", [-r[5] for r in R], [round(r[5], 4) for r in R], PC),
        },
    )


@case
def discharge_then_charge_negative() -> Made:
    # discharge counts positive, charging negative: as wanted already
    R = cycler(209, cycles=2)
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{r[0]:.0f},{r[6]:.4f},{-r[5]:.4f}" for r in R]
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (A)": Fact("current", [-r[5] for r in R], [round(-r[5], 4) for r in R], PC),
        },
    )


@case
def drive_with_regen() -> Made:
    A, V, _H = drive(3000, 0.05, 210)
    A = [round(a - (25 if k % 90 > 75 else 0), 2) for k, a in enumerate(A)]
    V = [round(soc_volts(0.8, 6) - 0.03 * a, 3) for a in A]
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{0.05 * k:.2f},{V[k]},{A[k]}" for k in range(3000)]
    return Made(enc(L), [0.05 * k for k in range(3000)], VI(V, A))


@case
def drive_with_regen_negative() -> Made:
    A, V, _H = drive(3000, 0.05, 211)
    A = [round(a - (25 if k % 90 > 75 else 0), 2) for k, a in enumerate(A)]
    V = [round(soc_volts(0.8, 6) - 0.03 * a, 3) for a in A]
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{0.05 * k:.2f},{V[k]},{-A[k]}" for k in range(3000)]
    return Made(enc(L), [0.05 * k for k in range(3000)], VI(V, A, sign=-1))


@case
def semicolon_units_in_names() -> Made:
    A, V, H = drive(1200, 0.1, 212)
    L = ['"Zeit in s";"Spannung in V";"Strom in A";"Temperatur 1 in °C";"Temperatur 2 in °C"'] + [
        f'"{de(0.1 * k, 1)}";"{de(V[k], 3)}";"{de(A[k], 2)}";"{de(H[k], 1)}";"{de(H[k] + 1, 1)}"' for k in range(1200)
    ]
    return Made(
        enc(L, "\r\n", "cp1252"),
        [round(0.1 * k, 1) for k in range(1200)],
        VI(V, A, "Spannung in V", "Strom in A")
        | {
            "Temperatur 1 in °C": Fact("temperature", H),
            "Temperatur 2 in °C": Fact("temperature", [round(h + 1, 1) for h in H]),
        },
    )


@case
def iso_zone_stamps() -> Made:
    A, V, _H = drive(1200, 0.2, 213)
    L = ["ts,voltage_V,current_A"]
    for k in range(1200):
        d = START + timedelta(seconds=0.2 * k)
        L.append(f"{d:%Y-%m-%dT%H:%M:%S}.{d.microsecond // 1000:03d}+02:00,{V[k]},{A[k]}")
    return Made(enc(L), [0.2 * k for k in range(1200)], VI(V, A, "voltage_V", "current_A"))


@case
def footers_and_totals() -> Made:
    A, V, _H = drive(900, 1, 214)
    L = (
        ["Time (s);Voltage (V);Current (A)"]
        + [f"{k};{de(V[k], 3)};{de(A[k], 2)}" for k in range(900)]
        + [
            ";;",
            f"Summe;;{de(sum(A), 2)}",
            f"Mittelwert;{de(sum(V) / 900, 3)};{de(sum(A) / 900, 2)}",
            "Ende der Aufzeichnung",
        ]
    )
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A))


@case
def two_devices_same_names() -> Made:
    A, V, _H = drive(900, 0.1, 215)
    L = ["Time (s),Voltage (V),Current (A),Voltage (V),Current (A)"] + [
        f"{0.1 * k:.1f},{V[k]},{A[k]},{V[k] / 2:.3f},{A[k] / 3:.2f}" for k in range(900)
    ]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(900)], {})


@case
def truncated_last_line() -> Made:
    A, V, _H = drive(900, 0.1, 216)
    L = ["Time (s),Voltage (V),Current (A)"] + [f"{0.1 * k:.1f},{V[k]:.3f},{A[k]:.2f}" for k in range(900)]
    data = enc(L)
    data = data[:-4]
    return Made(data, [round(0.1 * k, 1) for k in range(899)], VI(V[:899], A[:899]))


@case
def bms_dump() -> Made:
    # states, flags in hexadecimal, cell figures in V, signed current with charging positive
    A, _V, H = drive(1500, 1, 217, cells=4, R=0.02)
    r = random.Random(217)
    A = [round(a if k % 400 < 300 else -8 + r.gauss(0, 0.1), 2) for k, a in enumerate(A)]
    L = [
        "Date Time,Status,Flags,SOC(%),Pack Voltage(V),Current(A),"
        "Cell1(V),Cell2(V),Cell3(V),Cell4(V),Temp1(C),Temp2(C),Balancing"
    ]
    P = []
    C = [[], [], [], []]
    q = 0.9
    for k in range(1500):
        d = START + timedelta(seconds=k)
        q -= A[k] / 3600 / 8
        c = [round(soc_volts(max(0.1, q), 1) - 0.005 * A[k] + x, 3) for x in (0, 0.002, -0.004, 0.001)]
        for j in range(4):
            C[j].append(c[j])
        P.append(round(sum(c), 2))
        L.append(
            f"{d:%Y-%m-%d %H:%M:%S},{'DISCHARGE' if A[k] > 0 else 'CHARGE'},"
            f"0x{(k % 7):04X},{100 * q:.0f},{P[-1]:.2f},{-A[k]:.2f},"
            + ",".join(f"{x:.3f}" for x in c)
            + f",{H[k]},{H[k] - 1:.1f},{'Yes' if k % 9 == 0 else 'No'}"
        )
    return Made(
        enc(L),
        [float(k) for k in range(1500)],
        {"Pack Voltage(V)": Fact("voltage", P, None, PV), "Current(A)": Fact("current", A, [-a for a in A], PC)}
        | {f"Cell{j + 1}(V)": Fact("voltage", C[j], None, (f"cell{j + 1}_voltage_V",)) for j in range(4)}
        | {"Temp1(C)": Fact("temperature", H), "Temp2(C)": Fact("temperature", [round(h - 1, 1) for h in H])},
    )


@case
def spaces_thousands_comma_file() -> Made:
    A, V, _H = drive(1500, 1, 218)

    def g(x):
        return f"{x:,.1f}".replace(",", " ")

    L = ["Time (s),Voltage (mV),Current (mA)"] + [f"{g(k)},{g(V[k] * 1000)},{g(A[k] * 1000)}" for k in range(1500)]
    return Made(enc(L), [float(k) for k in range(1500)], VI(V, A, "Voltage (mV)", "Current (mA)", 1000))
