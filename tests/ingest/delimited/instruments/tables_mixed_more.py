"""Exports with two difficulties each: languages, zones, neighbours, damage; each with its table."""

from __future__ import annotations

import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.tables import Told, charged_and_used, comma, drive, rounded, told


@told
def german_thousands() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)

    def de(x, nd):
        return f"{x:,.{nd}f}".replace(",", "_").replace(".", ",").replace("_", ".")

    rows = ["Zeit (s)\tPackspannung (V)\tPackstrom (A)\tLeistung (W)\tDrehzahl (1/min)"] + [
        f"{de(clock[k] * 20, 1)}\t{de(pack_V[k] * 2, 2)}\t{de(amps[k], 2)}"
        f"\t{de(pack_V[k] * 2 * amps[k], 1)}\t{de(3000 + 10 * k, 0)}"
        for k in range(120)
    ]
    return Told(
        "de.txt",
        "\r\n".join(rows) + "\r\n",
        t=[x * 20 for x in clock],
        ch={"pack_voltage_V": rounded([v * 2 for v in pack_V], 2), "pack_current_A": rounded(amps, 2)},
        maybe={"pack_power_W": [float(f"{pack_V[k] * 2 * amps[k]:.1f}") for k in range(120)]},
        cols={"Drehzahl (1/min)": [3000 + 10 * k for k in range(120)]},
    )


@told
def tab_thousands() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s)\tPack voltage (V)\tPack current (A)\tSpeed (rpm)"] + [
        f"{clock[k] * 20:,.1f}\t{pack_V[k]:.2f}\t{amps[k]:.2f}\t{9000 + 10 * k:,}" for k in range(120)
    ]
    return Told(
        "us.txt",
        "\r\n".join(rows) + "\r\n",
        t=[x * 20 for x in clock],
        ch={"pack_voltage_V": rounded(pack_V, 2), "pack_current_A": rounded(amps, 2)},
        cols={"Speed (rpm)": [9000 + 10 * k for k in range(120)]},
    )


@told
def spanish_ampm() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)

    def es(d):
        return (
            f"{d:%d/%m/%Y} {d.hour % 12 or 12:02d}:{d.minute:02d}"
            f":{d.second:02d} {('a. m.' if d.hour < 12 else 'p. m.')}"
        )

    s0 = datetime(2024, 5, 23, 11, 59, 0)
    rows = ["Fecha y hora;Tensión batería (V);Corriente batería (A)"] + [
        f"{es(s0 + timedelta(seconds=clock[k]))};{comma(pack_V[k])};{comma(amps[k])}" for k in range(120)
    ]
    return Told(
        "reg.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def german_month() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    mon = ["Jan", "Feb", "Mrz", "Apr", "Mai", "Jun", "Jul", "Aug", "Sep", "Okt", "Nov", "Dez"]
    s0 = datetime(2024, 3, 31, 23, 59, 30)
    rows = ["Zeitstempel;Akkuspannung [V];Akkustrom [A]"] + [
        (lambda d: f"{d.day:02d}-{mon[d.month - 1]}-{d.year} {d:%H:%M:%S};{comma(pack_V[k])};{comma(amps[k])}")(
            s0 + timedelta(seconds=clock[k])
        )
        for k in range(120)
    ]
    return Told(
        "monat.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def zone_change() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["time,pack_voltage_V,pack_current_A"] + [
        f"{(f'2024-03-31T01:59:{k:02d}+01:00' if k < 60 else f'2024-03-31T03:00:{k - 60:02d}+02:00')}"
        f",{pack_V[k]:.3f},{amps[k]:.3f}"
        for k in range(120)
    ]
    return Told(
        "dst.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def fs_kHz() -> Told:
    _clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["% Fs = 2 kHz", "% ch1: pack current in A", "% ch2: pack voltage in V"] + [
        f"{amps[k]:.3f} {pack_V[k]:.3f}" for k in range(120)
    ]
    return Told(
        "m.dat",
        "\n".join(rows) + "\n",
        t=[k / 2000 for k in range(120)],
        maybe={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def eis_with_time() -> Told:
    rows = ["Time/s,Freq/Hz,Zre/Ohm,Zim/Ohm"] + [
        f"{k * 2.0:.1f},{10 ** (4 - k * 0.1):.5f},{0.02 + k * 0.0001:.5f},{-0.001:.5f}" for k in range(60)
    ]
    return Told("eis.csv", "\n".join(rows) + "\n", t=[k * 2.0 for k in range(60)])


@told
def foc_german() -> Told:
    _clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["t;i_d;i_q;u_d;u_q;n;u_zk;i_zk", "s;A;A;V;V;1/min;V;A"] + [
        f"{comma(k * 0.001, 3)};{comma(0.1)};{comma(amps[k])};{comma(1.0)}"
        f";{comma(5.0)};{1000 + k};{comma(pack_V[k])};{comma(amps[k] * 0.6)}"
        for k in range(120)
    ]
    return Told(
        "foc.csv",
        "\n".join(rows) + "\n",
        t=[k * 0.001 for k in range(120)],
        maybe={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": [float(f"{i * 0.6:.3f}") for i in amps]},
    )


@told
def rails() -> Told:
    clock, _amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s),12V rail (V),5V rail (V),3V3 rail (V),Battery (V)"] + [
        f"{clock[k]:.1f},12.0{k % 3},5.0{k % 2},3.3{k % 2},{pack_V[k]:.2f}" for k in range(120)
    ]
    return Told(
        "rails.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 2)},
        maybe={"receiver_rail_voltage_V": [float(f"5.0{k % 2}") for k in range(120)]},
    )


@told
def two_packs() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s),Battery A voltage (V),Battery B voltage (V),Battery A current (A),Battery B current (A)"] + [
        f"{clock[k]:.1f},{pack_V[k]:.2f},{pack_V[k] + 0.1:.2f},{amps[k]:.2f},{amps[k] * 0.9:.2f}" for k in range(120)
    ]
    return Told("two_packs.csv", "\n".join(rows) + "\n", t=clock)


@told
def italian() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Tempo (s);Tensione batteria (V);Corrente batteria (A)"] + [
        f"{comma(clock[k], 1)};{comma(pack_V[k])};{comma(amps[k])}" for k in range(120)
    ]
    return Told(
        "prova.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def gbk() -> Told:
    clock, amps, pack_V, warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["时间(s),电压(V),电流(A),温度(℃)"] + [
        f"{clock[k]:.1f},{pack_V[k]:.3f},{amps[k]:.3f},{warm[k]:.2f}" for k in range(120)
    ]
    return Told(
        "电池.csv".encode("ascii", "ignore").decode() or "d.csv",
        ("\r\n".join(rows) + "\r\n").encode("gbk"),
        t=clock,
        maybe={
            "pack_voltage_V": rounded(pack_V, 3),
            "pack_current_A": rounded(amps, 3),
            "pack_temp_degC": rounded(warm, 2),
        },
    )


@told
def polish_1250() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Czas [s];Napięcie [V];Prąd [A]"] + [
        f"{comma(clock[k], 1)};{comma(pack_V[k])};{comma(amps[k])}" for k in range(120)
    ]
    return Told(
        "pomiar.csv",
        ("\r\n".join(rows) + "\r\n").encode("cp1250"),
        t=clock,
        maybe={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def spoiled_epoch() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["timestamp,pack_voltage_V,pack_current_A"] + [f"1.71E+12,{pack_V[k]:.3f},{amps[k]:.3f}" for k in range(120)]
    return Told(
        "e.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3)},
        maybe={"pack_current_A": rounded(amps, 3)},
    )


@told
def mmss_wrap() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time,Pack voltage (V),Pack current (A)"] + [
        f"{(3590 + int(clock[k])) // 60 % 60:02d}:{(3590 + int(clock[k])) % 60:02d}.0,{pack_V[k]:.3f},{amps[k]:.3f}"
        for k in range(120)
    ]
    return Told(
        "excel_time.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def supply_sweep() -> Told:
    n = 120
    v = [round(10 + 0.1 * k, 2) for k in range(n)]
    rows = ["Time (s),Supply voltage (V),Supply current (A),Speed (rpm)"] + [
        f"{k:.1f},{v[k]},2.00,{100 * k}" for k in range(n)
    ]
    return Told(
        "sweep.csv",
        "\n".join(rows) + "\n",
        t=[float(k) for k in range(n)],
        ch={"pack_voltage_V": v},
        maybe={"pack_current_A": [2.0] * n},
    )


@told
def regen_plus() -> Told:
    rnd = random.Random(3)
    signed = [(30 if k // 10 % 3 == 0 else -15 if k // 10 % 3 == 1 else 0) + rnd.random() for k in range(200)]
    volts = [round(24 - 0.02 * s - 0.001 * k, 3) for k, s in enumerate(signed)]
    rows = ["time;Battery current;Battery voltage", "s;A;V"] + [
        f"{comma(k * 0.1, 1)};{comma(signed[k])};{comma(volts[k])}" for k in range(200)
    ]
    return Told(
        "drive.csv",
        "\n".join(rows) + "\n",
        t=[k * 0.1 for k in range(200)],
        ch={"pack_current_A": rounded(signed, 3), "pack_voltage_V": volts},
    )


@told
def regen_minus() -> Told:
    rnd = random.Random(3)
    signed = [(30 if k // 10 % 3 == 0 else -15 if k // 10 % 3 == 1 else 0) + rnd.random() for k in range(200)]
    volts = [round(24 - 0.02 * s - 0.001 * k, 3) for k, s in enumerate(signed)]
    rows = ["time;Battery current;Battery voltage", "s;A;V"] + [
        f"{comma(k * 0.1, 1)};{comma(-signed[k])};{comma(volts[k])}" for k in range(200)
    ]
    return Told(
        "drive.csv",
        "\n".join(rows) + "\n",
        t=[k * 0.1 for k in range(200)],
        ch={"pack_current_A": rounded(signed, 3), "pack_voltage_V": volts},
    )


@told
def channel_table_scaled() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    n = 120
    [round(10 + 0.1 * k, 2) for k in range(n)]
    rows = ["Channel;Name;Unit;Scale", "CH1;Pack current;A;0.1", "CH2;Pack voltage;V;0.01", "", "Time (s);CH1;CH2"] + [
        f"{clock[k]:.1f};{round(amps[k] * 10)};{round(pack_V[k] * 100)}" for k in range(120)
    ]
    return Told(
        "scaled.csv",
        "\n".join(rows) + "\n",
        t=clock,
        maybe={
            "pack_current_A": [round(i * 10) / 10 for i in amps],
            "pack_voltage_V": [round(v * 100) / 100 for v in pack_V],
        },
    )


@told
def channel_names_colon() -> Told:
    t0 = datetime(2024, 3, 5, 10, 0, 0)
    clock, amps, pack_V, warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = [
        "Logger: L4",
        "CH1: Battery voltage [V]",
        "CH2: Battery current [A]",
        "CH3: ESC temperature [°C]",
        "",
        "No.;Date;Time;CH1;CH2;CH3",
    ] + [
        f"{k + 1};{t0 + timedelta(seconds=clock[k]):%d.%m.%Y;%H:%M:%S}"
        f";{comma(pack_V[k])};{comma(amps[k])};{comma(warm[k], 1)}"
        for k in range(120)
    ]
    return Told(
        "l4.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def trailing_cols() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    n = 120
    [round(10 + 0.1 * k, 2) for k in range(n)]
    rows = (
        ["Time;Pack voltage;Pack current;;", "[ms];[mV];[mA];;"]
        + [f"{int(clock[k] * 1000)};{round(pack_V[k] * 1000)};{round(amps[k] * 1000)};;" for k in range(120)]
        + ["End of file;;;;"]
    )
    return Told(
        "tr.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={
            "pack_voltage_V": [round(v * 1000) / 1000 for v in pack_V],
            "pack_current_A": [round(i * 1000) / 1000 for i in amps],
        },
    )


@told
def nan_stretch() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["time_s,pack_voltage_V,pack_current_A"] + [
        f"{clock[k]:.1f}," + ("NaN,NaN" if 50 <= k < 60 else f"{pack_V[k]:.3f},{amps[k]:.3f}") for k in range(120)
    ]
    return Told(
        "res.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={
            "pack_voltage_V": [None if 50 <= k < 60 else round(pack_V[k], 3) for k in range(120)],
            "pack_current_A": [None if 50 <= k < 60 else round(amps[k], 3) for k in range(120)],
        },
    )


@told
def cells_side_by_side() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    n = 120
    [round(10 + 0.1 * k, 2) for k in range(n)]
    rows = ["Cell 1,,,Cell 2,,", "Time (s),Voltage (V),Current (A),Time (s),Voltage (V),Current (A)"] + [
        f"{clock[k]:.1f},{pack_V[k] / 6:.4f},{amps[k]:.3f},"
        + (f"{clock[k] * 2:.1f},{pack_V[k] / 6 - 0.1:.4f},{amps[k] * 0.5:.3f}" if k < 80 else ",,")
        for k in range(120)
    ]
    return Told(
        "sheet.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={},
        maybe={"cell1_voltage_V": [float(f"{v / 6:.4f}") for v in pack_V]},
        anyrows=True,
    )


@told
def counters_unsigned() -> Told:
    t, signed, volts, _ways = charged_and_used()
    taken = given = 0.0
    rows = ["Time [s],Voltage [V],Current [A],Charge capacity [Ah],Discharge capacity [Ah]"]
    for k in range(150):
        taken += max(0, -signed[k]) / 3600
        given += max(0, signed[k]) / 3600
        rows.append(f"{t[k]:.1f},{volts[k]:.4f},{abs(signed[k]):.3f},{taken:.6f},{given:.6f}")
    return Told(
        "cap.csv",
        "\n".join(rows) + "\n",
        t=t,
        ch={"pack_voltage_V": volts},
        maybe={"pack_charge_used_mAh": [float(r.split(",")[4]) * 1000 for r in rows[1:]]},
    )


@told
def step_and_total_min() -> Told:
    _t, signed, volts, _ways = charged_and_used()
    rows = ["Step,Step time (min),Total time (min),V,A"] + [
        f"{1 + k // 50},{k % 50 / 60:.4f},{k / 60:.4f},{volts[k]:.4f},{-signed[k]:.3f}" for k in range(150)
    ]
    return Told(
        "prog.csv",
        "\n".join(rows) + "\n",
        t=[float(f"{k / 60:.4f}") * 60 for k in range(150)],
        ch={"pack_voltage_V": volts, "pack_current_A": signed},
    )


@told
def whole_lines_quoted() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["sep=,"] + [
        f'"{x}"'
        for x in ["Time (s),Pack voltage (V),Pack current (A)"]
        + [f"{clock[k]:.1f},{pack_V[k]:.3f},{amps[k]:.3f}" for k in range(120)]
    ]
    return Told(
        "q.csv",
        "\ufeff" + "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def names_with_unquoted_units() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time, s,Pack voltage, V,Pack current, A"]
    rows += [f"{clock[k]:.1f},{pack_V[k]:.3f},{amps[k]:.3f}" for k in range(120)]
    ch = {"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)}
    return Told("comma_units.csv", "\n".join(rows) + "\n", t=clock, ch=ch)


@told
def one_name_too_many() -> Told:
    """Which of the names has no column is not said: the current would be taken for volts."""
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time [s];Pack temp [°C];Pack voltage [V];Pack current [A]"]
    rows += [f"{clock[k]:.1f};{pack_V[k]:.3f};{amps[k]:.3f}" for k in range(120)]
    ch = {"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)}
    return Told("shifted.csv", "\n".join(rows) + "\n", t=clock, ch=ch)
