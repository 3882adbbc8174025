"""Battery cyclers and packs: step tables, clocks over a day, signs, summaries, spectra. All values are invented."""

from __future__ import annotations

import math
import random
from datetime import timedelta

from tests.ingest.delimited.instruments.made import (
    PC,
    PV,
    START,
    Fact,
    Made,
    case,
    cycler,
    de,
    drive,
    enc,
    hms,
    soc_volts,
)


def neg(x):
    return [-a for a in x]


def per_cell(rows):
    return [r[6] for r in rows]


@case
def steps_three_times() -> Made:
    R = cycler(1)
    L = [
        "Point,Date_Time,Test Time (s),Step Time (s),Cycle No,Step No,Current (A),"
        "Voltage (V),Charge Capacity (Ah),Discharge Capacity (Ah),Energy (Wh),AUX T1 (°C)"
    ]
    for k, r in enumerate(R):
        d = START + timedelta(seconds=r[0])
        c = r[7] if r[5] > 0 else 0
        dc = r[7] if r[5] < 0 else 0
        L.append(
            f"{k + 1},{d:%Y-%m-%d %H:%M:%S},{r[0]:.3f},{r[1]:.3f},{r[2]},{r[3]},"
            f"{r[5]:.5f},{r[6]:.4f},{c:.6f},{dc:.6f},{r[8]:.6f},{r[9]:.2f}"
        )
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Current (A)": Fact("current", [-r[5] for r in R], [r[5] for r in R], PC),
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Step No": Fact("any", [float(r[3]) for r in R]),
            "AUX T1 (°C)": Fact("temperature", [r[9] for r in R]),
            "Discharge Capacity (Ah)": Fact(
                "charge", [1000 * (r[7] if r[5] < 0 else 0) for r in R], [r[7] if r[5] < 0 else 0 for r in R]
            ),
        },
    )


@case
def steps_exact_mA() -> Made:
    R = cycler(2, noise=False, cycles=1)
    L = ["Test Time(s),Step Time(s),Step,Mode,Current(mA),Voltage(V),Capacity(mAh)"]
    for r in R:
        L.append(f"{r[0]:.1f},{r[1]:.1f},{r[3]},{r[4]},{r[5] * 1000:.1f},{r[6]:.4f},{r[7] * 1000:.3f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Current(mA)": Fact("current", [-r[5] for r in R], [round(r[5] * 1000, 1) for r in R], PC),
            "Voltage(V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Capacity(mAh)": Fact("charge", [r[7] * 1000 for r in R]),
        },
    )


@case
def steps_exact_999() -> Made:
    # a step table whose constant currents look like a mark for nothing
    r = random.Random(3)
    L = ["t/s;U/V;I/A;Step"]
    T = []
    U = []
    amps = []
    for k in range(900):
        st = k // 300
        i = [-9.99, 0.0, 99.9][st]
        u = 24 + 0.01 * i + r.gauss(0, 0.003)
        T.append(k * 1.0)
        U.append(round(u, 3))
        amps.append(i)
        L.append(f"{k:.1f};{U[-1]:.3f};{i:.2f};{st + 1}")
    return Made(enc(L), T, {"U/V": Fact("voltage", U, None, PV), "I/A": Fact("current", neg(amps), amps, PC)})


@case
def steps_only_step_time() -> Made:
    R = cycler(4)
    L = ["Cycle\tStep\tStep Time (min)\tVoltage (mV)\tCurrent (mA)\tCapacity (mAh)\t"]
    for r in R:
        L.append(f"{r[2]}\t{r[3]}\t{r[1] / 60:.4f}\t{r[6] * 1000:.1f}\t{r[5] * 1000:.2f}\t{r[7] * 1000:.3f}\t")
    return Made(
        enc(L, "\r\n"),
        [r[1] for r in R],
        {
            "Voltage (mV)": Fact(
                "voltage", [r[6] for r in R], [round(r[6] * 1000, 1) for r in R], (*PV, "cell1_voltage_V")
            ),
            "Current (mA)": Fact("current", [-r[5] for r in R], [round(r[5] * 1000, 2) for r in R], PC),
        },
        splits=True,
        must_say=("clock_restart", "clock_missing"),
        either=True,
    )


@case
def hours_over_a_day() -> Made:
    R = cycler(5, dt=60, Ic=0.2, Id=0.2)
    L = ["Total Time,Step Time,U [mV],I [mA],Q [mAh],E [mWh],Temp [°C]"]
    for r in R:
        L.append(
            f"{hms(r[0], 3, 1)},{hms(r[1], 3, 1)},{r[6] * 1000:.0f},"
            f"{r[5] * 1000:.1f},{r[7] * 1000:.1f},{r[8] * 1000:.1f},{r[9]:.1f}"
        )
    assert R[-1][0] > 86400
    return Made(
        enc(L, "\r\n"),
        [r[0] for r in R],
        {
            "U [mV]": Fact(
                "voltage",
                [round(r[6] * 1000) / 1000 for r in R],
                [float(f"{r[6] * 1000:.0f}") for r in R],
                (*PV, "cell1_voltage_V"),
            ),
            "I [mA]": Fact("current", [-round(r[5] * 1000, 1) / 1000 for r in R], None, PC),
            "E [mWh]": Fact(
                "energy", [float(f"{r[8] * 1000:.1f}") / 1000 for r in R], [float(f"{r[8] * 1000:.1f}") for r in R]
            ),
        },
    )


@case
def step_lines_between() -> Made:
    R = cycler(6, cycles=1)
    L = ["Channel 3   Cell 17", "Operator: bench", "", "Time(s)  Voltage(V)  Current(A)"]
    old = None
    for r in R:
        if r[3] != old:
            old = r[3]
            L += ["", f"--- Step {old}: {r[4]} ---"]
        L.append(f"{r[0]:9.1f} {r[6]:10.4f} {r[5]:11.5f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage(V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current(A)": Fact("current", [-r[5] for r in R], None, PC),
        },
        file="cell17.txt",
    )


@case
def three_layers() -> Made:
    # cycle line, step line and records in one sheet, each further right
    R = cycler(7)
    L = [
        "Cycle,Charge (mAh),Discharge (mAh),",
        "  ,Step,Kind,Duration,Capacity (mAh)",
        ",,Record,Time (h:m:s),Voltage (V),Current (mA),Capacity (mAh)",
    ]
    oc = os = None
    for n, r in enumerate(R, 1):
        if r[2] != oc:
            oc = r[2]
            L.append(f"{oc},1934.5,1921.7,")
            os = None
        if r[3] != os:
            os = r[3]
            L.append(f",{os},{r[4]},1:02:30,1500.2")
        L.append(f",,{n},{hms(r[0])},{r[6]:.4f},{r[5] * 1000:.1f},{r[7] * 1000:.2f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (mA)": Fact("current", [-round(r[5], 4) for r in R], None, PC),
            "Capacity (mAh)": Fact("charge", [round(r[7] * 1000, 2) for r in R], None, ("nothing",)),
        },
        either=True,
    )


@case
def cycle_summary() -> Made:
    r = random.Random(8)
    L = ["Cycle,Charge Capacity (mAh),Discharge Capacity (mAh),Efficiency (%),End Voltage (V),Resistance (mOhm)"]
    for k in range(1, 501):
        L.append(
            f"{k},{2000 - 0.8 * k + r.gauss(0, 2):.1f},{1990 - 0.8 * k + r.gauss(0, 2):.1f},"
            f"{99.4 + r.gauss(0, 0.05):.2f},{3.0 + r.gauss(0, 0.001):.4f},{38 + 0.02 * k:.2f}"
        )
    return Made(enc(L), refuse=True)


@case
def cycle_summary_dated() -> Made:
    r = random.Random(9)
    L = ["Cycle;Start;End;Charge (Ah);Discharge (Ah);Mean U (V);Max I (A)"]
    d = START
    for k in range(1, 201):
        e = d + timedelta(hours=3.1 + r.random() * 0.1)
        L.append(
            f"{k};{d:%d.%m.%Y %H:%M:%S};{e:%d.%m.%Y %H:%M:%S};{de(3 - 0.002 * k, 3)};"
            f"{de(2.98 - 0.002 * k, 3)};{de(3.7 + r.gauss(0, 0.001), 3)};{de(3.0, 2)}"
        )
        d = e + timedelta(seconds=40)
    return Made(enc(L), refuse=True)


@case
def step_summary() -> Made:
    L = ["Step,Mode,Duration (s),Start Voltage (V),End Voltage (V),Capacity (mAh),Energy (mWh)"]
    for k in range(1, 61):
        L.append(
            f"{k},{['CC', 'CV', 'Rest', 'DCh'][k % 4]},{[3600, 1800, 600, 3000][k % 4] + k},"
            f"{3.1 + k % 4 * 0.2:.3f},{3.3 + k % 4 * 0.2:.3f},{1000 + k:.1f},{3700 + k:.1f}"
        )
    return Made(enc(L), refuse=True)


@case
def impedance() -> Made:
    L = ["Freq (Hz),Re(Z) (Ohm),-Im(Z) (Ohm),|Z| (Ohm),Phase (deg)"]
    for k in range(71):
        f = 10 ** (5 - k / 10)
        w = 6.2832 * f
        z = 0.02 + 0.03 / (1 + 1j * w * 0.03 * 0.5)
        L.append(f"{f:.6g},{z.real:.6g},{-z.imag:.6g},{abs(z):.6g},{math.degrees(math.atan2(z.imag, z.real)):.4f}")
    return Made(enc(L), refuse=True)


@case
def impedance_with_time() -> Made:
    L = ["Point\tTime (s)\tFrequency (Hz)\tZ' (Ohm)\tZ'' (Ohm)\tE DC (V)\tI DC (A)"]
    t = 0
    for k in range(61):
        f = 10 ** (4 - k / 10)
        w = 6.2832 * f
        z = 0.02 + 0.03 / (1 + 1j * w * 0.015)
        t += 0.3 + 2 / f
        L.append(f"{k + 1}\t{t:.4f}\t{f:.6g}\t{z.real:.6g}\t{z.imag:.6g}\t{3.7:.4f}\t{0.0001:.5f}")
    return Made(enc(L), refuse=True, either=True)


@case
def frequency_response() -> Made:
    L = ["Frequency [Hz];Gain [dB];Phase [°]"] + [
        f"{10 + 10 * k};{de(-20 * math.log10(1 + k / 50), 3)};{de(-math.degrees(math.atan(k / 50)), 2)}"
        for k in range(400)
    ]
    return Made(enc(L), refuse=True)


@case
def curve_table() -> Made:
    L = ["SOC (%),OCV (V),R0 (mOhm)"] + [
        f"{100 - k},{soc_volts(1 - k / 100):.4f},{25 + 10 * math.exp(-(100 - k) / 8):.2f}" for k in range(101)
    ]
    return Made(enc(L), refuse=True)


@case
def unsigned_with_state() -> Made:
    R = cycler(10, cycles=1)
    L = ["Time (s),State,Voltage (V),Current (A),Capacity (Ah)"]
    names = {"CC": "Charge", "CV": "Charge", "Rest": "Rest", "DCh": "Discharge"}
    for r in R:
        L.append(f"{r[0]:.1f},{names[r[4]]},{r[6]:.4f},{abs(r[5]):.4f},{r[7]:.5f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (A)": Fact("current", [round(-r[5], 4) for r in R], [round(abs(r[5]), 4) for r in R], PC),
        },
        must_say=("sign_normalised",),
    )


@case
def two_current_columns() -> Made:
    R = cycler(11, cycles=1)
    L = ["Time [s],Voltage [V],Charge Current [A],Discharge Current [A]"]
    for r in R:
        L.append(f"{r[0]:.1f},{r[6]:.4f},{max(r[5], 0):.4f},{max(-r[5], 0):.4f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage [V]": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Charge Current [A]": Fact("current", [round(max(r[5], 0), 4) for r in R], None, ("nothing",)),
            "Discharge Current [A]": Fact("current", [round(max(-r[5], 0), 4) for r in R], None, PC),
        },
    )


@case
def summary_then_records() -> Made:
    R = cycler(12)
    L = [
        "Summary",
        "Cycle,Charge (Ah),Discharge (Ah)",
        "1,1.934,1.921",
        "2,1.931,1.918",
        "",
        "Records",
        "Time (s),Cycle,Voltage (V),Current (A)",
    ]
    for r in R:
        L.append(f"{r[0]:.1f},{r[2]},{r[6]:.4f},{r[5]:.4f}")
    return Made(
        enc(L),
        [r[0] for r in R],
        {
            "Voltage (V)": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current (A)": Fact("current", [-round(r[5], 4) for r in R], None, PC),
        },
    )


@case
def cells_battery_monitor() -> Made:
    A, V, H = drive(2000, 0.5, 13, cells=12, R=0.06)
    random.Random(13)
    L = [
        "Time;Pack [V];Current [A];SOC [%];Remaining [Ah];"
        + ";".join(f"Cell {c} [mV]" for c in range(1, 13))
        + ";Min [mV];Max [mV];Delta [mV];NTC 1 [°C];NTC 2 [°C]"
    ]
    P = []
    C = [[] for _ in range(12)]
    q = 20
    for k in range(2000):
        cs = [round(V[k] / 12 * 1000) + d for d in (0, 3, -2, 1, 0, -4, 2, 5, -1, 0, 1, -6)]
        P.append(round(sum(cs) / 1000, 2))
        q -= A[k] * 0.5 / 3600
        for c in range(12):
            C[c].append(cs[c] / 1000)
        L.append(
            f"{hms(k * 0.5, 1)};{de(P[-1], 2)};{de(-A[k], 2)};{de(q / 20 * 100, 1)};{de(q, 3)};"
            + ";".join(map(str, cs))
            + f";{min(cs)};{max(cs)};{max(cs) - min(cs)};{de(H[k], 1)};{de(H[k] - 1.2, 1)}"
        )
    F = {f"Cell {c} [mV]": Fact("voltage", C[c - 1], None, (f"cell{c}_voltage_V",)) for c in range(1, 13)}
    F |= {
        "Pack [V]": Fact("voltage", P, None, PV),
        "Current [A]": Fact("current", A, [-a for a in A], PC),
        "Min [mV]": Fact(
            "voltage",
            [min(c[k] for c in C) for k in range(2000)],
            [1000 * min(c[k] for c in C) for k in range(2000)],
            ("cell_min_V",),
        ),
        "Max [mV]": Fact(
            "voltage", [max(c[k] for c in C) for k in range(2000)], [1000 * max(c[k] for c in C) for k in range(2000)]
        ),
        "NTC 1 [°C]": Fact("temperature", H),
        "NTC 2 [°C]": Fact("temperature", [round(h - 1.2, 1) for h in H]),
    }
    return Made(enc(L), [k * 0.5 for k in range(2000)], F)


@case
def header_A_values_mA() -> Made:
    A, V, _H = drive(1500, 0.1, 14)
    L = ["Time (s),Voltage (V),Current (A),Power (W)"]
    for k in range(1500):
        L.append(f"{k * 0.1:.1f},{V[k]:.3f},{A[k] * 1000:.0f},{V[k] * A[k]:.1f}")
    return Made(
        enc(L),
        [round(k * 0.1, 1) for k in range(1500)],
        {
            "Voltage (V)": Fact("voltage", V, None, PV),
            "Current (A)": Fact(
                "current", [round(a * 1000) / 1000 for a in A], [float(round(a * 1000)) for a in A], PC
            ),
            "Power (W)": Fact("power", [round(V[k] * A[k], 1) for k in range(1500)]),
        },
        must_say=("implausible",),
    )


@case
def header_mV_values_V() -> Made:
    A, V, _H = drive(1500, 0.1, 15)
    L = ["Time (s),Voltage (mV),Current (A)"]
    for k in range(1500):
        L.append(f"{k * 0.1:.1f},{V[k]:.3f},{A[k]:.2f}")
    return Made(
        enc(L),
        [round(k * 0.1, 1) for k in range(1500)],
        {
            "Voltage (mV)": Fact("voltage", V, None, PV) | 0
            if False
            else Fact("voltage", [v / 1000 for v in V], V, PV),
            "Current (A)": Fact("current", A, None, PC),
        },
        must_say=("implausible",),
    )
