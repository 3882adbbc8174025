"""Preambles, markers and columns of further kinds of instrument. All values are invented."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import PC, PV, START, VI, Fact, Made, case, cycler, de, drive, enc, hms


@case
def typed_rows() -> Made:
    A, V, _H = drive(900, 0.1, 300)
    L = ["FMT, 128, 89, FMT, BBnNZ, Type,Length,Name,Format,Columns", "PARM, 1000, BATT_CAP, 3000"]
    for k in range(900):
        L += [
            f"ATT, {100000 * k}, {k % 9}.5, {k % 7}.25, 180.0",
            f"BAT, {100000 * k + 300}, {V[k]}, {A[k]}, 12.5",
            f"RPM, {100000 * k + 500}, {3000 + k}, 0",
        ]
    return Made(enc(L), None, {}, either=True, file="flight.txt")


@case
def days_and_time() -> Made:
    R = cycler(301, dt=60, Ic=0.2, Id=0.2, noise=True)
    L = ["Rec#\tCyc#\tStep\tTestTime\tStepTime\tAmp-hr\tWatt-hr\tAmps\tVolts\tState"]

    def f(s):
        return f"{int(s // 86400)}d {hms(s % 86400, 2)}"

    S = {"CC": "C", "CV": "C", "DCh": "D", "Rest": "R"}
    for k, r in enumerate(R):
        L.append(
            f"{k + 1}\t{r[2]}\t{r[3]}\t{f(r[0])}\t{f(r[1])}\t{r[7]:.6f}\t{r[8]:.6f}\t"
            f"{abs(r[5]):.6f}\t{r[6]:.5f}\t{S[r[4]]}"
        )
    return Made(
        enc(L, "\r\n"),
        [r[0] for r in R],
        {
            "Volts": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Amps": Fact("current", [-r[5] for r in R], [abs(r[5]) for r in R], PC),
            "Amp-hr": Fact("charge", [r[7] * 1000 for r in R], [r[7] for r in R], ("nothing",)),
        },
    )


@case
def tilde_header() -> Made:
    R = cycler(302)
    L = [
        "~Resultfile",
        "~Battery: cell 4",
        "~Channel: 2",
        "~Date: 14.03.2026 09:26:53",
        "~",
        "~Time[h] DataSet t-Step[h] Line Command U[V] I[A] Ah[Ah] T1[°C]",
    ]
    for k, r in enumerate(R):
        L.append(
            f"{r[0] / 3600:.8f} {k + 1} {r[1] / 3600:.8f} {r[3]} {r[4]} {r[6]:.5f} {r[5]:.5f} {r[7]:.6f} {r[9]:.2f}"
        )
    return Made(
        enc(L, e="latin-1"),
        [r[0] for r in R],
        {
            "U[V]": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "I[A]": Fact("current", [-r[5] for r in R], None, PC),
            "T1[°C]": Fact("temperature", [r[9] for r in R]),
        },
        tol=2e-4,
        file="cell4.txt",
    )


@case
def slashed_units() -> Made:
    R = cycler(303)
    L = [
        "Text export of a test",
        "Nb header lines : 9",
        "",
        "Technique : cycling",
        "Electrode mass : 1.00 mg",
        "Record : every 10 s",
        "Safety limits : off",
        "",
        "mode\tox/red\terror\tcontrol changes\tcounter "
        "inc.\ttime/s\tcontrol/V/mA\tEcell/V\t<I>/mA\t(Q-Qo)/mA.h\tcycle number",
    ]
    for r in R:
        L.append(
            f"1\t{1 if r[5] > 0 else 0}\t0\t0\t0\t{r[0]:.6E}\t{r[5] * 1000:.4E}\t"
            f"{r[6]:.5E}\t{r[5] * 1000:.5E}\t{r[7] * 1000:.5E}\t{r[2]:.1f}"
        )
    return Made(
        enc(L, "\r\n", "latin-1"),
        [r[0] for r in R],
        {
            "Ecell/V": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V", "cell_min_V")),
            "<I>/mA": Fact("current", [-r[5] for r in R], [float(f"{r[5] * 1000:.5E}") for r in R], PC),
        },
        tol=1e-2,
        file="cell.txt",
    )


@case
def curve_table_tabs() -> Made:
    A, V, _H = drive(1200, 0.5, 304)
    L = [
        "EXPLAIN",
        "TAG\tCHRONO",
        "TITLE\tLABEL\tTest\tTest identifier",
        "DATE\tLABEL\t3/14/2026\tDate",
        "SAMPLETIME\tQUANT\t5.00000E-001\tSample Period (s)",
        "CURVE\tTABLE\t1200",
        "\tPt\tT\tVf\tIm\tVu\tSig\tAch\tIERange\tOver",
        "\t#\ts\tV vs. Ref.\tA\tV\tV\tV\t#\tbits",
    ]
    for k in range(1200):
        L.append(f"\t{k}\t{0.5 * k:.6E}\t{V[k]:.6E}\t{-A[k]:.6E}\t0.000000E+000\t1.0E-002\t2.1E-005\t11\t...........")
    return Made(
        enc(L, "\r\n"),
        [0.5 * k for k in range(1200)],
        {"Vf": Fact("voltage", V), "Im": Fact("current", A, [-a for a in A], PC)},
        tol=2e-3,
        file="run.txt",
    )


@case
def scanned_channels() -> Made:
    L = [
        "Name:,bench scan",
        "Owner:,",
        "Acquisition Date:,3/14/2026 9:26:53 AM",
        "Total Channels:,3",
        "",
        "Scan,Time,101 <Pack> (VDC),Alarm 101,102 <Shunt> (VDC),Alarm 102,103 <Motor> (C),Alarm 103",
    ]
    P = []
    S = []
    M = []
    for k in range(800):
        d = START + timedelta(seconds=1.25 * k)
        P.append(round(25 - 0.001 * k, 4))
        S.append(round(0.002 + 0.00001 * k, 6))
        M.append(round(25 + 0.03 * k, 2))
        L.append(
            f"{k + 1},{d:%m/%d/%Y %H:%M:%S}:{d.microsecond // 1000:03d},{P[-1]:+.6E},0,{S[-1]:+.6E},0,{M[-1]:+.4E},0"
        )
    return Made(
        enc(L, "\r\n", "utf-16"),
        [1.25 * k for k in range(800)],
        {
            "101 <Pack> (VDC)": Fact("voltage", P),
            "102 <Shunt> (VDC)": Fact("voltage", S, S, ("nothing",)),
            "103 <Motor> (C)": Fact("temperature", M),
        },
    )


@case
def program_and_step_time() -> Made:
    R = cycler(305)
    L = [
        "Start Time,3/14/2026 9:26:53 AM",
        "Chamber: 25 degC",
        "",
        "Time Stamp,Step,Status,Prog Time,Step Time,Cycle,Cycle Level,"
        "Procedure,Voltage,Current,Temperature,Capacity,WhAccu,Cnt,Empty",
        ",,,,,,,,[V],[A],[C],[Ah],[Wh],[Cnt],",
    ]
    S = {"CC": "CHA", "CV": "CHA", "DCh": "DCH", "Rest": "PAU"}
    net = 0
    N = []
    pt = 0
    for r in R:
        d = START + timedelta(seconds=r[0])
        net += r[5] * (r[0] - pt) / 3600
        pt = r[0]
        N.append(round(net, 5))
        L.append(
            f"{d.month}/{d.day}/{d.year} {d:%I:%M:%S %p},{r[3]},{S[r[4]]},{hms(r[0], 3)},{hms(r[1], 3)},"
            f"{r[2]},0,charge test,{r[6]:.5f},{r[5]:.5f},{r[9]:.2f},{N[-1]:.5f},{r[8]:.5f},1,"
        )
    return Made(
        enc(L, "\r\n"),
        [r[0] for r in R],
        {
            "Voltage": Fact("voltage", [r[6] for r in R], None, (*PV, "cell1_voltage_V")),
            "Current": Fact("current", [-r[5] for r in R], None, PC),
            "Temperature": Fact("temperature", [r[9] for r in R]),
            "Capacity": Fact("charge", [1000 * x for x in N], N, ("nothing",)),
            "WhAccu": Fact("energy", [r[8] for r in R], None, ("nothing",)),
        },
    )


@case
def snake_controller() -> Made:
    A, V, H = drive(3000, 0.02, 306)
    L = [
        "ms_today;input_voltage;temp_mos_max;temp_motor;current_motor;current_in;"
        "id;iq;erpm;duty_cycle;amp_hours_used;watt_hours_used;tacho_abs;fault"
    ]
    M = []
    E = []
    D = []
    q = 0
    Q = []
    W = []
    for k in range(3000):
        d = round(0.1 + 0.8 * abs(math.sin(k / 150)), 3)
        M.append(round(A[k] / d, 2))
        E.append(float(round(21000 * d)))
        D.append(100 * d)
        q += A[k] * 0.02 / 3600
        Q.append(1000 * round(q, 4))
        W.append(round(q * 24, 3))
        L.append(
            f"{33000000 + 20 * k};{V[k]:.2f};{H[k] + 3:.1f};{H[k]:.1f};{M[-1]:.2f};"
            f"{A[k]:.2f};0.12;{M[-1]:.2f};{E[-1]:.0f};{d:.3f};{q:.4f};{q * 24:.3f};{k * 31};0"
        )
    return Made(
        enc(L),
        [0.02 * k for k in range(3000)],
        {
            "input_voltage": Fact("voltage", [round(v, 2) for v in V]),
            "current_in": Fact("current", A),
            "current_motor": Fact("current", M),
            "temp_motor": Fact("temperature", H),
            "temp_mos_max": Fact("temperature", [round(h + 3, 1) for h in H]),
            "erpm": Fact("speed", E, E, ("nothing",)),
            "duty_cycle": Fact("command", D, [d / 100 for d in D]),
            "amp_hours_used": Fact("charge", Q),
            "watt_hours_used": Fact("energy", W),
        },
    )


@case
def no_time_at_all() -> Made:
    r = random.Random(307)
    L = ["u_q,coolant,stator_winding,u_d,stator_tooth,motor_speed,i_d,i_q,pm,stator_yoke,ambient,torque,profile_id"]
    for k in range(3000):
        L.append(
            ",".join(
                f"{x:.6f}"
                for x in (
                    r.gauss(0, 1) * 0.1 - 0.45,
                    18.8,
                    19.1 + 0.001 * k,
                    -0.35,
                    18.3 + 0.001 * k,
                    0.0028 * k,
                    0.0044,
                    0.0003 * k,
                    24.5 + 0.0005 * k,
                    18.3,
                    19.85,
                    0.187,
                )
            )
            + ",17"
        )
    return Made(enc(L), None, {}, refuse=True)


@case
def long_quoted_preamble() -> Made:
    A, V, _H = drive(3000, 0.002, 308, cells=4, R=0.01)
    L = [f'"setting_{k}","{k * 3},{k}"' for k in range(140)] + [
        "loopIteration,time,axisP[0],axisP[1],rcCommand[0],rcCommand[3],vbatLatest "
        "(V),amperageLatest (A),motor[0],motor[1],flightModeFlags (flags)"
    ]
    for k in range(3000):
        L.append(
            f"{k * 8},{1200000 + 2000 * k},{k % 11 - 5},{k % 7},0,{1000 + k % 900},"
            f"{V[k]},{A[k]},{200 + k % 1500},{300 + k % 1400},ARM|ANGLE"
        )
    return Made(
        enc(L),
        [0.002 * k for k in range(3000)],
        {"vbatLatest (V)": Fact("voltage", V, None, PV), "amperageLatest (A)": Fact("current", A)},
        tol=1e-6,
    )


@case
def centivolts_counts() -> Made:
    A, V, _H = drive(3000, 0.002, 309, cells=4, R=0.01)
    L = ["time_us,vbat,amperage,rpm0"] + [
        f"{1200000 + 2000 * k},{round(V[k] * 100)},{round(A[k] * 100)},{9000 + k}" for k in range(3000)
    ]
    return Made(
        enc(L),
        [0.002 * k for k in range(3000)],
        {
            "vbat": Fact("voltage", [round(v * 100) / 100 for v in V], [float(round(v * 100)) for v in V]),
            "amperage": Fact("current", A, [float(round(a * 100)) for a in A]),
        },
        tol=1e-6,
    )


@case
def phone_vehicle() -> Made:
    L = ["Device Time, Longitude,GPS Speed (Meters/second), Engine RPM(rpm), Voltage (Adapter)(V), Coolant(°F)"]
    R = []
    B = []
    C = []
    for k in range(900):
        d = START + timedelta(seconds=k)
        miss = k % 13 == 0
        R.append(None if miss else float(800 + k))
        B.append(round(13.8 + 0.1 * math.sin(k / 9), 1))
        C.append(None if miss else 150 + k / 10)
        L.append(
            f"{d:%d-%b-%Y %H:%M:%S}.{d.microsecond // 1000:03d},11.5{k:04d},{k % 20 / 2},"
            f"{'-' if miss else 800 + k},{B[-1]},{'-' if miss else format(150 + k / 10, '.1f')}"
        )
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        {
            "Engine RPM(rpm)": Fact("speed", R),
            "Voltage (Adapter)(V)": Fact("voltage", B),
            "Coolant(°F)": Fact("temperature", [None if c is None else (c - 32) / 1.8 for c in C], C),
        },
    )


@case
def cells_v1_v14() -> Made:
    A, V, _H = drive(900, 1, 310, cells=14, R=0.05)
    L = ["Time(s)," + ",".join(f"V{j}(mV)" for j in range(1, 15)) + ",Ibat(A)"]
    C = [[] for _ in range(14)]
    for k in range(900):
        row = [round(V[k] / 14 * 1000) + (j * 7 % 5) - 2 for j in range(14)]
        for j in range(14):
            C[j].append(row[j] / 1000)
        L.append(f"{k}," + ",".join(map(str, row)) + f",{A[k]}")
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        {f"V{j + 1}(mV)": Fact("voltage", C[j], [1000 * c for c in C[j]]) for j in range(14)}
        | {"Ibat(A)": Fact("current", A, None, PC)},
    )


@case
def date_in_preamble() -> Made:
    A, V, _H = drive(900, 1, 311)
    L = ["Date: 14/03/2026", "Instrument: bench", "Time;U (V);I (A)"]
    for k in range(900):
        d = datetime(2026, 3, 14, 23, 55) + timedelta(seconds=k)
        L.append(f"{d:%H:%M:%S};{de(V[k], 3)};{de(A[k], 2)}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "U (V)", "I (A)"))


@case
def comma_exponents() -> Made:
    A, V, _H = drive(900, 0.5, 312)

    def f(x):
        return f"{x:.5E}".replace(".", ",")

    L = ["Zeit (s)\tSpannung (V)\tStrom (A)"] + [f"{f(0.5 * k)}\t{f(V[k])}\t{f(A[k])}" for k in range(900)]
    return Made(enc(L, "\r\n"), [0.5 * k for k in range(900)], VI(V, A, "Spannung (V)", "Strom (A)"))


@case
def header_only() -> Made:
    return Made(b"Time (s),Voltage (V),Current (A)\r\n", refuse=True)


@case
def column_added() -> Made:
    A, V, H = drive(900, 0.5, 313)
    L = (
        ["Time (s),Voltage (V),Current (A)"]
        + [f"{0.5 * k:.1f},{V[k]},{A[k]}" for k in range(300)]
        + ["Time (s),Voltage (V),Current (A),Temp (°C)"]
        + [f"{0.5 * k:.1f},{V[k]},{A[k]},{H[k]}" for k in range(300, 900)]
    )
    return Made(
        enc(L),
        [0.5 * k for k in range(300, 900)],
        VI(V[300:], A[300:]) | {"Temp (°C)": Fact("temperature", H[300:])},
        must_say=("several_tables",),
    )


@case
def clock_set_back() -> Made:
    A, V, _H = drive(900, 0.5, 314)
    L = ["Date Time,Voltage (V),Current (A)"]
    for k in range(900):
        d = START + timedelta(seconds=0.5 * k - (2.3 if k >= 500 else 0))
        L.append(f"{d:%Y-%m-%d %H:%M:%S}.{d.microsecond // 1000:03d},{V[k]},{A[k]}")
    return Made(
        enc(L), [0.5 * k for k in range(900)], VI(V, A), splits=True, must_say=("clock_backward", "clock_restart")
    )


@case
def lost_degree_sign() -> Made:
    A, V, H = drive(900, 1, 315)
    L = ["Time (s);Voltage (V);Current (A);Motor (\ufffdC);Board (?C)"] + [
        f"{k};{V[k]};{A[k]};{H[k]};{H[k] + 2:.1f}" for k in range(900)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        VI(V, A)
        | {"Motor (\ufffdC)": Fact("temperature", H), "Board (?C)": Fact("temperature", [round(h + 2, 1) for h in H])},
    )


@case
def signed_zeros_in_front() -> Made:
    A, V, _H = drive(900, 1, 316)
    L = ["Time,Voltage,Current"] + [
        f"{hms(k)},+{V[k]:09.3f} V,{'-' if k % 9 == 0 else '+'}{A[k]:08.2f} A" for k in range(900)
    ]
    A2 = [-a if k % 9 == 0 else a for k, a in enumerate(A)]
    return Made(enc(L), [float(k) for k in range(900)], {"Voltage": Fact("voltage", V), "Current": Fact("current", A2)})


@case
def minute_stamps() -> Made:
    A, V, _H = drive(900, 1, 317)
    L = ["Datum;Spannung (V);Strom (A)"]
    for k in range(900):
        d = START + timedelta(seconds=k)
        L.append(f"{d:%d.%m.%Y %H:%M};{de(V[k], 3)};{de(A[k], 2)}")
    return Made(
        enc(L),
        [0.0] * 900,
        VI(V, A, "Spannung (V)", "Strom (A)"),
        splits=True,
        must_say=("clock_duplicate", "clock_coarse"),
    )


@case
def day_and_fraction() -> Made:
    A, V, _H = drive(900, 1, 318)
    L = ["Date,Time,Volts,Amps"] + [f"46095,{0.39366898 + k / 86400:.8f},{V[k]},{A[k]}" for k in range(900)]
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Volts", "Amps"), either=True, tol=2e-3)


@case
def end_of_header_no_x() -> Made:
    A, V, _H = drive(2000, 0.001, 319)
    L = [
        "Writer\t2",
        "Separator\tTab",
        "Decimal_Separator\t.",
        "Multi_Headings\tYes",
        "X_Columns\tNo",
        "***End_of_Header***",
        "",
        "Channels\t2\t",
        "Samples\t2000\t2000",
        "Date\t2026/03/14\t2026/03/14",
        "Time\t09:26:53.5\t09:26:53.5",
        "Y_Unit_Label\tVolts\tAmps",
        "X_Dimension\tTime\tTime",
        "X0\t0.0000E+0\t0.0000E+0",
        "Delta_X\t0.001000\t0.001000",
        "***End_of_Header***",
        "X_Value\tVoltage\tCurrent\tComment",
    ] + [f"\t{V[k]:.6f}\t{A[k]:.6f}" for k in range(2000)]
    return Made(
        enc(L, "\r\n"), [0.001 * k for k in range(2000)], VI(V, A, "Voltage", "Current"), tol=1e-6, file="run.txt"
    )


@case
def end_of_header_x() -> Made:
    A, V, _H = drive(2000, 0.001, 320)
    L = [
        "Writer\t2",
        "Separator\tTab",
        "X_Columns\tOne",
        "***End_of_Header***",
        "",
        "Channels\t2\t\t",
        "Samples\t2000\t2000\t",
        "Y_Unit_Label\tVolts\tAmps\t",
        "X_Dimension\tTime\tTime\t",
        "X0\t0.0000E+0\t0.0000E+0\t",
        "Delta_X\t0.001000\t0.001000\t",
        "***End_of_Header***\t\t\t",
        "X_Value\tVoltage\tCurrent\tComment",
    ] + [f"{0.001 * k:.6f}\t{V[k]:.6f}\t{A[k]:.6f}" for k in range(2000)]
    return Made(
        enc(L, "\r\n"), [0.001 * k for k in range(2000)], VI(V, A, "Voltage", "Current"), tol=1e-6, file="run.txt"
    )


@case
def quality_triplets() -> Made:
    A, V, _H = drive(900, 1, 321)
    L = ["Timestamp,Pack.Voltage.Value,Pack.Voltage.Quality,Pack.Current.Value,Pack.Current.Quality"]
    for k in range(900):
        d = START + timedelta(seconds=k)
        L.append(f"{d:%Y-%m-%dT%H:%M:%S}.000Z,{V[k]},192,{A[k]},192")
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        {
            "Pack.Voltage.Value": Fact("voltage", V),
            "Pack.Current.Value": Fact("current", A),
            "Pack.Voltage.Quality": Fact("any", [192.0] * 900, None, ("nothing",)),
        },
    )


@case
def spaced_stamp_and_units() -> Made:
    A, V, H = drive(900, 0.2, 322)
    L = (
        ["Recorded 14 Mar 2026", "", "  Elapsed     Volts     Amps   Temp", "    (s)        (V)       (A)    (C)", ""]
        + [f"{0.2 * k:9.2f} {V[k]:9.3f} {A[k]:8.2f} {H[k]:6.1f}" for k in range(900)]
        + ["", "*** end of run ***"]
    )
    return Made(
        enc(L, "\r\n"),
        [0.2 * k for k in range(900)],
        {"Volts": Fact("voltage", V, None, PV), "Amps": Fact("current", A, None, PC), "Temp": Fact("temperature", H)},
        file="run.txt",
    )


@case
def semicolon_everything_quoted_units_row() -> Made:
    A, V, H = drive(900, 0.2, 323)
    L = ['"Nr.";"Zeit";"Kanal 1";"Kanal 2";"Kanal 3"', '"";"[s]";"[V]";"[A]";"[°C]"'] + [
        f'"{k + 1}";"{de(0.2 * k, 2)}";"{de(V[k], 3)}";"{de(A[k], 2)}";"{de(H[k], 1)}"' for k in range(900)
    ]
    return Made(
        enc(L, "\r\n"),
        [0.2 * k for k in range(900)],
        {"Kanal 1": Fact("voltage", V), "Kanal 2": Fact("current", A), "Kanal 3": Fact("temperature", H)},
    )


@case
def voltage_current_sense_raw() -> Made:
    # a shunt's voltage in mV beside the amperes worked out from it
    A, V, _H = drive(900, 0.2, 324)
    L = ["time_s,shunt_mV,current_A,pack_V"] + [f"{0.2 * k:.1f},{A[k] * 0.5:.3f},{A[k]},{V[k]}" for k in range(900)]
    return Made(
        enc(L),
        [0.2 * k for k in range(900)],
        {
            "shunt_mV": Fact(
                "voltage", [round(a * 0.5, 3) / 1000 for a in A], [float(f"{a * 0.5:.3f}") for a in A], ("nothing",)
            ),
            "current_A": Fact("current", A, None, PC),
            "pack_V": Fact("voltage", V, None, PV),
        },
    )
