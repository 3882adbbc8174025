"""Exports of battery testers and battery monitors, each with the table that it was made from."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.tables import Told, comma, drive, lines, rounded, told


@told
def cyc_step_time_restarts() -> Told:
    t, amps, volts, _warm, used = drive(120, 1.0)
    t0 = datetime(2024, 3, 5, 10, 0, 0)
    rows = [
        [
            "Record ID",
            "Cycle ID",
            "Step ID",
            "Step name",
            "Time(h:min:s.ms)",
            "Voltage(V)",
            "Current(mA)",
            "Capacity(mAh)",
            "Energy(mWh)",
            "Realtime",
        ]
    ]
    for k in range(120):
        st = k % 40
        rows.append(
            [
                k + 1,
                1,
                1 + k // 40,
                ("Rest", "CC DChg", "Rest")[k // 40],
                f"0:{st // 60:02d}:{st % 60:02d}.000",
                f"{volts[k]:.4f}",
                f"{-amps[k] * 1000:.1f}",
                f"{used[k] * 1000:.4f}",
                "0.0",
                (t0 + timedelta(seconds=t[k])).strftime("%Y-%m-%d %H:%M:%S"),
            ]
        )
    return Told(
        "record_ch4.csv",
        lines(rows),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": [round(i * 1000, 1) / 1000 for i in amps]},
        maybe={"pack_energy_used_Wh": [0.0] * 120, "pack_charge_used_mAh": [round(q * 1000, 4) for q in used]},
    )


@told
def cyc_unsigned_state() -> Told:
    n = 120
    t = [k * 1.0 for k in range(n)]
    st = ["R" if k < 20 else "D" if k < 70 else "R" if k < 80 else "C" for k in range(n)]
    amps = [{"R": 0, "D": 2.5, "C": 1.5}[s] for s in st]
    signed = [{"R": 0, "D": 2.5, "C": -1.5}[s] for s in st]
    volts = [round(3.8 - 0.05 * s - 0.001 * k, 4) for k, s in enumerate(signed)]
    rows = [["Rec#", "Cyc#", "Step", "TestTime", "StepTime", "Amp-hr", "Watt-hr", "Amps", "Volts", "State"]]
    for k in range(n):
        rows.append(
            [
                k + 1,
                0,
                1,
                f"0d 00:{k // 60:02d}:{k % 60:02d}.00",
                f"0d 00:00:{k % 20:02d}.00",
                0.0,
                0.0,
                f"{amps[k]:.4f}",
                f"{volts[k]:.4f}",
                st[k],
            ]
        )
    return Told(
        "cyc_unsigned.csv", lines(rows, "\t"), t=t, ch={"pack_voltage_V": volts}, maybe={"pack_current_A": signed}
    )


@told
def cyc_nested() -> Told:
    t, amps, volts, _warm, _used = drive(60, 1.0)
    out = [
        "Cycle,Charge cap(mAh),Discharge cap(mAh)",
        ",Step,Step type,Step time",
        ",,Record,Test time(s),Voltage(V),Current(A)",
    ]
    for c in range(2):
        out.append(f"{c + 1},100.0,99.5")
        for s in range(3):
            out.append(f",{s + 1},CC_DChg,00:00:10")
            for k in range(10):
                j = c * 30 + s * 10 + k
                out.append(f",,{j + 1},{t[j]:.1f},{volts[j]:.4f},{amps[j]:.4f}")
    return Told("nested.csv", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts, "pack_current_A": amps})


@told
def cyc_two_capacities() -> Told:
    n = 160
    t = [k * 10.0 for k in range(n)]
    signed = [-1.0 if k < 80 else 1.5 for k in range(n)]
    volts = [round(3.7 + 0.002 * k if k < 80 else 3.85 - 0.002 * (k - 80), 4) for k in range(n)]
    qc = []
    qd = []
    a = b = 0
    for k in range(n):
        a += 10 / 3600 if k < 80 else 0
        b += 15 / 3600 if k >= 80 else 0
        qc.append(round(a, 6))
        qd.append(round(b, 6))
    rows = [
        [
            "Data_Point",
            "Test_Time(s)",
            "Date_Time",
            "Step_Time(s)",
            "Step_Index",
            "Cycle_Index",
            "Current(A)",
            "Voltage(V)",
            "Charge_Capacity(Ah)",
            "Discharge_Capacity(Ah)",
            "Internal_Resistance(Ohm)",
            "dV/dt(V/s)",
        ]
    ]
    for k in range(n):
        rows.append(
            [
                k + 1,
                f"{t[k]:.4f}",
                f"{45000 + k * 10 / 86400:.8f}",
                f"{k % 80 * 10:.4f}",
                1 + k // 80,
                1,
                f"{-signed[k]:.6f}",
                f"{volts[k]:.6f}",
                f"{qc[k]:.6f}",
                f"{qd[k]:.6f}",
                "0.045",
                "0.0",
            ]
        )
    return Told(
        "cell_A12.csv",
        lines(rows),
        t=t,
        ch={"pack_voltage_V": volts},
        maybe={"pack_current_A": signed, "pack_charge_used_mAh": [q * 1000 for q in qd]},
    )


@told
def cyc_sections() -> Told:
    t, amps, volts, warm, _used = drive(100, 0.1)
    head = (
        "[Information]\nOperator;A. N. Other\nSample;Cell 18650-7\nNominal capacity;2500 mAh"
        "\n\n[Steps]\nNo;Type;Value;Limit\n1;Rest;;60 s\n2;CC discharge;2,0 A;2,5 V\n\n[Data]\n"
    )
    body = "Time [s];Voltage [V];Current [A];T1 [°C]\n" + "".join(
        f"{comma(t[k], 1)};{comma(volts[k], 4)};{comma(amps[k], 4)};{comma(warm[k], 2)}\n" for k in range(100)
    )
    return Told(
        "sections.txt",
        (head + body).encode("cp1252"),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": amps},
        maybe={"pack_temp_degC": warm},
        cols={"T1 [°C]": warm},
    )


@told
def cyc_eis_between() -> Told:
    t, amps, volts, _warm, _used = drive(80, 1.0)
    out = ["Time(s),Current(A),Voltage(V)"] + [f"{t[k]:.1f},{amps[k]:.4f},{volts[k]:.4f}" for k in range(40)]
    out += ["", "Impedance sweep", "Frequency(Hz),Zreal(mOhm),-Zimag(mOhm)"] + [
        f"{10 ** (4 - k * 0.2):.4f},{10 + 0.5 * k:.3f},{0.1 * k:.3f}" for k in range(25)
    ]
    out += ["", "Time(s),Current(A),Voltage(V)"] + [f"{t[k]:.1f},{amps[k]:.4f},{volts[k]:.4f}" for k in range(40, 80)]
    return Told(
        "hppc.csv", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts, "pack_current_A": amps}, anyrows=False
    )


@told
def eis_only() -> Told:
    rows = [["freq/Hz", "Re(Z)/Ohm", "-Im(Z)/Ohm", "|Z|/Ohm", "Phase(Z)/deg"]]
    for k in range(60):
        f = 10 ** (4 - k * 0.1)
        re = 0.02 + 0.0005 * k
        im = 0.005 * math.sin(k / 10)
        rows.append(
            [
                f"{f:.6E}",
                f"{re:.6E}",
                f"{im:.6E}",
                f"{math.hypot(re, im):.6E}",
                f"{-math.degrees(math.atan2(im, re)):.4f}",
            ]
        )
    return Told("eis_25C.txt", lines(rows, "\t"), t=None, rows=60)


@told
def cyc_counted_head() -> Told:
    t, amps, volts, _warm, used = drive(150, 0.2)
    n = 9
    head = [
        "CELL TEST ASCII FILE",
        f"Number of header lines : {n}",
        "",
        "Acquisition started on : 03/11/2024 14:02:07",
        "Electrode mass : 12,5 mg",
        "Set I/C : C/2",
        "vs. : <None>",
        "",
    ]
    rows = [*head, "mode\terror\tcontrol/mA\ttime/s\tvoltage/V\tcurrent/mA\t(Q-Qo)/mA.h"]
    for k in range(150):
        rows.append(
            "\t".join(
                [
                    "1",
                    "0",
                    f"{-amps[k] * 1000:.7E}".replace(".", ","),
                    f"{t[k]:.15E}".replace(".", ","),
                    f"{volts[k]:.7E}".replace(".", ","),
                    f"{-amps[k] * 1000:.7E}".replace(".", ","),
                    f"{-used[k] * 1000:.7E}".replace(".", ","),
                ]
            )
        )
    return Told(
        "run_03.mpt.txt",
        ("\r\n".join(rows) + "\r\n").encode("latin-1"),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": amps},
        maybe={"pack_charge_used_mAh": [q * 1000 for q in used]},
    )


@told
def cyc_sheet_three_heads() -> Told:
    t, amps, volts, _warm, used = drive(100, 1.0)
    out = ["Channel 3,,,,", "Test time,Potential,Current,Capacity,Step", "s,V,mA,mAh,"] + [
        f"{t[k]:.1f},{volts[k]:.4f},{-amps[k] * 1000:.2f},{used[k] * 1000:.4f},{k // 30}" for k in range(100)
    ]
    return Told(
        "Channel_3.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": [round(i * 1000, 2) / 1000 for i in amps]},
        maybe={"pack_charge_used_mAh": [round(q * 1000, 4) for q in used]},
    )


@told
def cyc_summary() -> Told:
    rows = [
        [
            "Cycle",
            "Charge Capacity (Ah)",
            "Discharge Capacity (Ah)",
            "Coulombic efficiency (%)",
            "Mean voltage (V)",
            "Cell temp max (°C)",
        ]
    ]
    for k in range(200):
        rows.append(
            [
                k + 1,
                f"{2.5 - 0.001 * k:.4f}",
                f"{2.49 - 0.001 * k:.4f}",
                f"{99.6:.2f}",
                f"{3.65 - 0.0002 * k:.4f}",
                f"{31 + 0.01 * k:.2f}",
            ]
        )
    return Told("cycles.csv", lines(rows), t=None, rows=200)


@told
def e_load() -> Told:
    t, amps, volts, _warm, used = drive(120, 1.0, cells=4, peak=6, r=0.02)
    out = ["Electronic load log", "Mode: CC", "Cutoff: 12.0 V", "", "Time(ms)\tU(V)\tI(A)\tP(W)\tR(Ohm)\tQ(Ah)"]
    for k in range(120):
        out.append(
            f"{int(t[k] * 1000)}\t{volts[k]:.3f}\t{amps[k]:.3f}\t{volts[k] * amps[k]:.2f}"
            f"\t{(volts[k] / amps[k] if amps[k] else 9999.99):.2f}\t{used[k]:.4f}"
        )
    return Told(
        "load.txt",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={
            "pack_power_W": [round(v * i, 2) for v, i in zip(volts, amps, strict=False)],
            "pack_charge_used_mAh": [round(q, 4) * 1000 for q in used],
        },
    )


@told
def bms_16_mV() -> Told:
    t, amps, volts, warm, _used = drive(120, 2.0, cells=1, v0=3.35, peak=40, r=0.001)
    t0 = datetime(2024, 7, 1, 6, 0, 0)
    cells = [[round((volts[k] + 0.002 * j) * 1000) for k in range(120)] for j in range(16)]
    out = [
        "DateTime,PackVolt(V),PackCurr(A),SOC(%),"
        + ",".join(f"Cell{j + 1}(mV)" for j in range(16))
        + ",Temp1(C),Temp2(C),MOS(C),Protect"
    ]
    pv = [round(sum(c[k] for c in cells) / 1000, 2) for k in range(120)]
    for k in range(120):
        out.append(
            f"{t0 + timedelta(seconds=t[k]):%Y-%m-%d %H:%M:%S},{pv[k]},{-amps[k]:.1f},{90 - k * 0.05:.1f},"
            + ",".join(str(c[k]) for c in cells)
            + f",{warm[k]:.0f},{warm[k] + 1:.0f},{warm[k] + 3:.0f},0x0000"
        )
    return Told(
        "bms_export.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_voltage_V": pv,
            "pack_current_A": rounded(amps, 1),
            **{f"cell{j + 1}_voltage_V": [x / 1000 for x in cells[j]] for j in range(16)},
        },
    )


@told
def bms_20() -> Told:
    t, amps, volts, _warm, _used = drive(100, 1.0, cells=1, v0=4.0, peak=40, r=0.002)
    cells = [[round(volts[k] + 0.001 * j, 3) for k in range(100)] for j in range(20)]
    out = [
        "Elapsed [s];Batt. voltage [V];Batt. current [A];V max cell [V];N max cell;V min cell [V];N min cell;"
        + ";".join(f"V{j + 1:02d} [V]" for j in range(20))
    ]
    for k in range(100):
        out.append(
            f"{comma(t[k], 1)};{comma(sum(c[k] for c in cells), 2)}"
            f";{comma(amps[k], 1)};{comma(cells[19][k])};20;{comma(cells[0][k])};1;"
            + ";".join(comma(c[k]) for c in cells)
        )
    [round(sum(c[k] for c in cells), 2) for k in range(100)]
    return Told(
        "bms20.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_voltage_V": [float(comma(sum(c[k] for c in cells), 2).replace(",", ".")) for k in range(100)],
            "pack_current_A": rounded(amps, 1),
        },
        maybe={
            "cell_min_V": cells[0],
            "pack_cell_min_V": cells[0],
            **{f"cell{j + 1}_voltage_V": cells[j] for j in range(20)},
        },
    )


@told
def hours_beyond_24() -> Told:
    t, amps, volts, _warm, _used = drive(100, 60.0, cells=1, peak=1, r=0.05)
    t = [x + 23.5 * 3600 for x in t]
    out = ["Total time,Step time,Voltage(V),Current(A)"] + [
        f"{int(x) // 3600}:{int(x) // 60 % 60:02d}:{int(x) % 60:02d},0:{k % 60:02d}:00,{volts[k]:.4f},{amps[k]:.4f}"
        for k, x in enumerate(t)
    ]
    return Told("longrun.csv", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts, "pack_current_A": amps})


@told
def minutes() -> Told:
    t, amps, volts, warm, _used = drive(120, 6.0, cells=1, peak=1, r=0.05)
    out = ["Time [min]\tVoltage [V]\tCurrent [A]\tTemp. [°C]"] + [
        f"{t[k] / 60:.4f}\t{volts[k]:.4f}\t{-amps[k]:.4f}\t{warm[k]:.2f}" for k in range(120)
    ]
    return Told(
        "discharge_1C.txt",
        ("\n".join(out) + "\n").encode("latin-1"),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": amps},
        maybe={"pack_temp_degC": warm},
    )


@told
def ocv_curve() -> Told:
    n = 150
    q = [k * 0.02 for k in range(n)]
    v = [round(4.15 - 0.006 * k, 4) for k in range(n)]
    out = ["Capacity (Ah),Voltage (V)"] + [f"{q[k]:.3f},{v[k]:.4f}" for k in range(n)]
    return Told(
        "ocv.csv",
        "\n".join(out) + "\n",
        t=None,
        rows=n,
        maybe={"pack_voltage_V": v, "pack_charge_used_mAh": [x * 1000 for x in q]},
    )


@told
def charger_only() -> Told:
    n = 100
    t = [k * 1.0 for k in range(n)]
    out = ["$1;1;"]
    out = ["Zeit;Modus;Spannung;Strom;Ladung;Zelle 1;Zelle 2;Zelle 3", "s;;mV;mA;mAh;mV;mV;mV"]
    volts = []
    for k in range(n):
        volts.append(11400 + k * 5)
        out.append(
            f"{k};Laden;{volts[-1]};1500;{k * 1500 / 3600:.0f};{volts[-1] // 3};{volts[-1] // 3};{volts[-1] // 3}"
        )
    return Told(
        "laden.csv",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": [v / 1000 for v in volts]},
        maybe={
            "pack_current_A": [-1.5] * n,
            **{f"cell{j}_voltage_V": [v // 3 / 1000 for v in volts] for j in (1, 2, 3)},
        },
    )
