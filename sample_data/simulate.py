"""simulate(): one match of the invented robot, 1 ms steps, temperatures every 50 ms.

Electrical quantities are algebraic within a step except the voltage that the bridges see, which follows the node
with about 3 ms (their capacitors). Brushed and brushless motors are treated alike, as DC-equivalent machines;
a bridge is an ideal transformer with a resistance, so input current = duty x motor current + its idle current.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from . import cell
from .heat import JointHeat, PackHeat, TwoNode, WireHeat
from .parts import COPPER_PER_K, IDLE_A, BuildSpec, Drive, PackSpec
from .plants import BURST_SHARE, NOTHING, Plants
from .rail import Rail, rail_and_link
from .script import Script, STEP_s
from .truth import Recorded, Truth, finish

Floats = npt.NDArray[np.float64]

CHUNK = 50  # steps between two updates of temperatures and what follows from them
CAPACITOR = 0.35  # part of the way to the node's voltage in one step
LOST_STEP_DUTY, LOST_STEP_BRAKING = 0.30, 0.80  # out of step: duty, and part of the torque that brakes (our choice)
BRUSHLESS_RISE_s = 0.15  # full duty takes at least this long (our choice)
RUNS = (
    "battery_lead",
    "weapon_lead",
    "left_lead",
    "right_lead",
    "supply_lead",
    "weapon_motor_leads",
    "left_motor_leads",
    "right_motor_leads",
)
LIMIT_FOLD_K = 5.0  # a controller lowers its current limit over the last 5 K below its limit (our choice)


class _Motor:
    """One controller and motor between two chunks: resistances, limits and temperatures."""

    def __init__(self, drive: Drive, leads_ohm_20C: float, air_degC: float) -> None:
        self.drive = drive
        self.K = drive.K_Nm_per_A
        self.leads_ohm_20C = leads_ohm_20C
        self.controller = TwoNode(drive.controller_heat, air_degC)
        self.motor = TwoNode(drive.motor_heat, air_degC)
        self.update(air_degC)

    def update(self, leads_degC: float) -> None:
        d = self.drive
        self.winding_ohm = d.winding_mohm * 1e-3 * (1.0 + COPPER_PER_K * (self.motor.hot_degC - 25.0))
        self.leads_ohm = self.leads_ohm_20C * (1.0 + COPPER_PER_K * (leads_degC - 20.0))
        self.loop_ohm = self.winding_ohm + self.leads_ohm + d.bridge_mohm * 1e-3
        room = (d.limit_degC - 1.0 - self.controller.hot_degC) / LIMIT_FOLD_K
        self.limit_A = d.motor_limit_A * min(1.0, max(0.25, room))

    def heat(self, mean_square_A2: float, dt_s: float) -> tuple[float, float]:
        bridge_W = mean_square_A2 * self.drive.bridge_mohm * 1e-3 + 0.4
        return (
            self.controller.step(bridge_W, dt_s),
            self.motor.step(mean_square_A2 * self.winding_ohm, dt_s),
        )


def simulate(
    build: BuildSpec,
    pack: PackSpec,
    script: Script,
    plants: Plants = NOTHING,
    *,
    air_degC: float = 20.0,
    seed: int = 0,
    held_V: float | None = None,
) -> Truth:
    """The whole match as arrays on the simulation clock.

    held_V: the controllers make up for a sagging supply: a command asks for this share of held_V at the motor and not
    of what the supply has (as far as full duty goes). None: the throttle is open, a command is a duty.
    Raises ValueError where the build lacks one of RUNS, or a planted joint is not in the battery lead.
    """
    missing = set(RUNS) - {r.id for r in build.runs}
    if missing:
        raise ValueError(f"build {build.id} has no run {', '.join(sorted(missing))}; the simulated robot needs it")
    step = plants.joint_step
    if step is not None and step.joint not in build.run("battery_lead").through:
        raise ValueError(f"{step.joint} is not in the battery lead of build {build.id}; plant the step in one that is")
    rail = rail_and_link(build, script, plants, seed)
    record = _run(build, pack, script, plants, rail, air_degC, seed, held_V)
    return finish(build, pack, script, plants, rail, record, air_degC)


def _run(
    build: BuildSpec,
    pack: PackSpec,
    script: Script,
    plants: Plants,
    rail: Rail,
    air_degC: float,
    seed: int,
    held_V: float | None,
) -> Recorded:
    """The stepping loop: plain floats and local names, which cost a third of small arrays in it.

    Names in it: w, l, r are weapon, left and right; i motor current (A), I input current (A; p pack, s supply),
    d duty, e back-voltage (V), v the controller's input (V), o the motor loop's resistance (ohm), R of runs (ohm),
    J step over inertia, K torque constant, s... sums of squares for the heat of the chunk.
    """
    dt = STEP_s
    n = script.n
    if plants.open_at_s is not None:
        n = round(plants.open_at_s / dt)
    cmd_w, cmd_l, cmd_r = ((c * rail.link_up).tolist() for c in (script.weapon, script.left, script.right))
    push = script.push_Nm.tolist()
    rail_W = (rail.voltage_V * rail.current_A / build.regulator_efficiency).tolist()
    sync, burst = _sync_loss(script, plants, seed)
    hit_at = {round(t / dt): keep for t, keep in script.hits}
    stall = (n, n) if plants.stall is None else (round(plants.stall[0] / dt), round(plants.stall[1] / dt))

    runs = {r.id: r for r in build.runs}
    order = list(runs)
    wires = WireHeat(build.runs, air_degC)
    joints = {j.id: JointHeat(build, j.id, air_degC) for j in build.joints}
    weapon = _Motor(build.weapon, runs["weapon_motor_leads"].loop_ohm_20C, air_degC)
    left = _Motor(build.left, runs["left_motor_leads"].loop_ohm_20C, air_degC)
    right = _Motor(build.right, runs["right_motor_leads"].loop_ohm_20C, air_degC)
    pack_heat = PackHeat(pack, air_degC)
    r25_ohm = sum(pack.cell_mohm) * 1e-3
    once, fast, slow = cell.split()
    fast_k, slow_k = dt / cell.FAST_s, dt / cell.SLOW_s
    capacity_As = pack.capacity_Ah * 3600.0

    Jw, Jl = dt / build.weapon.inertia_kgm2, dt / build.left.inertia_kgm2
    Jr = dt / build.right.inertia_kgm2
    Kw, Kl, Kr = weapon.K, left.K, right.K
    fw, cw = build.weapon.friction_Nm, build.weapon.windage_Nms2
    fl, fr = build.left.friction_Nm, build.right.friction_Nm
    limit_in = build.weapon.current_limit_A
    rise_w = dt / max(BRUSHLESS_RISE_s, build.weapon.ramp_s)

    out = Recorded(n)
    log_I, log_Iw, log_ww = out.pack_A.append, out.weapon_A.append, out.weapon_rad_s.append
    log_Il, log_wl, log_Ir, log_wr = (
        out.left_A.append,
        out.left_rad_s.append,
        out.right_A.append,
        out.right_rad_s.append,
    )
    log_dw, log_dl, log_dr, log_V = (
        out.weapon_duty.append,
        out.left_duty.append,
        out.right_duty.append,
        out.pack_V.append,
    )
    ww = wl = wr = 0.0
    Iw = Il = Ir = IDLE_A
    v1 = v2 = used_As = 0.0
    dw = 0.0
    v_bus = pack.cells * float(cell.open_voltage_V(pack.charge_start))
    for k0 in range(0, n, CHUNK):
        k1 = min(n, k0 + CHUNK)
        charge = pack.charge_start - used_As / capacity_As
        factor = cell.warm_factor(pack_heat.degC, charge)
        ocv0 = pack.cells * float(cell.open_voltage_V(charge))
        slope = (ocv0 - pack.cells * float(cell.open_voltage_V(charge - 0.002))) / (0.002 * capacity_As)
        R0, R1, R2 = (r25_ohm * factor * part for part in (once, fast, slow))
        step = plants.joint_step
        if step is not None and k0 >= step.at_s / dt:
            joints[step.joint].added_ohm = step.added_mohm * 1e-3
        ohm = {
            run_id: runs[run_id].loop_ohm_20C * (1.0 + COPPER_PER_K * (degC - 20.0))
            for run_id, degC in zip(order, wires.degC.tolist(), strict=True)
        }
        for joint in runs["battery_lead"].through:
            ohm["battery_lead"] += joints[joint].ohm
        Rb, Rw, Rl, Rr = (ohm[x] for x in ("battery_lead", "weapon_lead", "left_lead", "right_lead"))
        for machine, leads in (
            (weapon, "weapon_motor_leads"),
            (left, "left_motor_leads"),
            (right, "right_motor_leads"),
        ):
            machine.update(float(wires.degC[order.index(leads)]))
        ow, ol, orr = weapon.loop_ohm, left.loop_ohm, right.loop_ohm
        lim_w, lim_l, lim_r = weapon.limit_A, left.limit_A, right.limit_A
        sI = sIw = sIl = sIr = sIwm = sIlm = sIrm = sIs = 0.0
        used0 = used_As
        for k in range(k0, k1):
            # weapon: no braking, duty may rise only as fast as the controller's ramp
            e = Kw * ww
            v = v_bus - Iw * Rw
            if sync[k]:
                i = burst[k]
                dw = LOST_STEP_DUTY if i > 0.0 else 0.0
                torque = -LOST_STEP_BRAKING * Kw * i
            else:
                d = max(dw, e / v) + rise_w
                asked = cmd_w[k] if held_V is None else _held(cmd_w[k], held_V, v)
                if d > asked:
                    d = asked
                i = (d * v - e) / ow
                if i > lim_w:
                    i = lim_w
                elif i < 0.0:
                    i = 0.0
                dw = (e + i * ow) / v if i > 0.0 else 0.0
                if dw * i > limit_in:
                    i = limit_in / dw
                    dw = (e + i * ow) / v
                torque = Kw * i
            Iw = dw * i + IDLE_A
            ww += Jw * (torque - cw * ww * ww - (fw if ww > 1.0 else fw * ww))
            # drives: full bridge, brakes and feeds back
            e = Kl * wl
            v = v_bus - Il * Rl
            asked = cmd_l[k] if held_V is None else _held(cmd_l[k], held_V, v)
            il = (asked * v - e) / ol
            if il > lim_l:
                il = lim_l
            elif il < -lim_l:
                il = -lim_l
            dl = (e + il * ol) / v
            wl += Jl * (Kl * il - (fl + push[k]) * wl / (abs(wl) + 8.0))
            if stall[0] <= k < stall[1]:
                wl = 0.0
            e = Kr * wr
            v = v_bus - Ir * Rr
            asked = cmd_r[k] if held_V is None else _held(cmd_r[k], held_V, v)
            ir = (asked * v - e) / orr
            if ir > lim_r:
                ir = lim_r
            elif ir < -lim_r:
                ir = -lim_r
            dr = (e + ir * orr) / v
            wr += Jr * (Kr * ir - (fr + push[k]) * wr / (abs(wr) + 8.0))
            if k in hit_at:
                ww *= hit_at[k]
                dw *= hit_at[k]
            Il, Ir, Is = dl * il + IDLE_A, dr * ir + IDLE_A, rail_W[k] / v_bus
            Ip = Iw + Il + Ir + Is
            v1 += fast_k * (Ip * R1 - v1)
            v2 += slow_k * (Ip * R2 - v2)
            used_As += Ip * dt
            v_pack = ocv0 - slope * (used_As - used0) - Ip * R0 - v1 - v2
            v_bus += CAPACITOR * (v_pack - Ip * Rb - v_bus)
            log_I(Ip)
            log_Iw(i)
            log_ww(ww)
            log_Il(il)
            log_wl(wl)
            log_Ir(ir)
            log_wr(wr)
            log_dw(dw)
            log_dl(dl)
            log_dr(dr)
            log_V(v_pack)
            sI += Ip * Ip
            sIw += Iw * Iw
            sIl += Il * Il
            sIr += Ir * Ir
            sIs += Is * Is
            sIwm += i * i
            sIlm += il * il
            sIrm += ir * ir
        steps = k1 - k0
        span = steps * dt
        squares = dict(zip(RUNS, (sI, sIw, sIl, sIr, sIs, sIwm, sIlm, sIrm), strict=True))
        wires.step(np.array([squares[x] for x in order]) / steps, span)
        for joint_heat in joints.values():
            joint_heat.step(sI / steps, span)
        polarised = v1 * v1 / R1 + v2 * v2 / R2
        pack_heat.step(sI / steps * R0 + polarised, span)
        temps = [pack_heat.degC]
        for machine, square in ((weapon, sIwm), (left, sIlm), (right, sIrm)):
            temps += machine.heat(square / steps, span)
        out.chunk(
            (k1 - 1) * dt,
            wires.degC.tolist(),
            [j.degC for j in joints.values()],
            temps,
            [r25_ohm * factor * 1e3, charge, *[ohm[x] for x in order], R0, polarised],
            [weapon.winding_ohm, left.winding_ohm, right.winding_ohm],
        )
    return out


def _held(command: float, held_V: float, supply_V: float) -> float:
    """The duty that puts command × held_V at the motor, -1..1."""
    return max(-1.0, min(1.0, command * held_V / supply_V))


def _sync_loss(script: Script, plants: Plants, seed: int) -> tuple[list[bool], list[float]]:
    """Where the weapon is out of step, and its motor current there: ragged bursts, then nothing until a restart."""
    lost = np.zeros(script.n, dtype=bool)
    current = np.zeros(script.n)
    rng = np.random.default_rng([seed, 23])
    for start, end in plants.sync_losses:
        span = (script.t_s >= start) & (script.t_s < end)
        t = script.t_s[span] - start
        ringing = (t < BURST_SHARE * (end - start)).astype(float)
        wave = np.abs(np.sin(2.0 * math.pi * 27.0 * t + 2.0 * np.sin(2.0 * math.pi * 5.3 * t)))
        lost[span] = True
        current[span] = ringing * 115.0 * wave**2 * rng.uniform(0.75, 1.0, t.shape)
    return lost.tolist(), current.tolist()
