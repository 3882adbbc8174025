"""One match, simulated: pack, wiring, weapon, two drives, rail and receiver on one bus with its capacitors.

Each step solves the bus voltage implicitly (so a bus of a few mF may be cut off within one step), with every bridge
written as a conductance and a source: input current = d²/R·v − d·e/R, e the back-EMF, R winding plus its run. Motors
are DC-equivalent. A bridge that is off still rectifies: a spinning weapon feeds the bus when the bus falls below its
back-EMF, which is what keeps a robot alive after the disconnect opens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.plan import Plan
from tests.synthetic.scenarios.robot import OCV_CHARGE, OCV_V, RPM_PER_RAD_S, Robot

Floats = npt.NDArray[np.float64]

COLUMNS = (
    "bus_V", "pack_A", "sag_fast", "sag_slow", "weapon_V", "weapon_A", "weapon_motor_A", "weapon_rad_s",
    "weapon_duty", "weapon_degC", "left_A", "left_motor_A", "left_rad_s", "left_duty", "right_A",
    "right_motor_A", "right_rad_s", "right_duty",
    "rail_V", "rail_A", "receiver_on", "weapon_on", "short_A", "rest_V", "r_factor", "pack_degC",
    "drawn_Ah", "drives_on",
)  # fmt: skip
BLOCK = 128
STANDBY_A = 0.35  # what the controllers and the light draw with nothing moving
REGULATOR_EFFICIENCY = 0.85
DROPOUT_V = 1.5
CUT_RETRY_s = 3.0
RESTART_s = 0.9
TRIP_s = 1.5


@dataclass(frozen=True, eq=False)
class Truth:
    """t_s (n,), and per column of COLUMNS an array (n,); events: (time, what) as they happened."""

    t_s: Floats
    x: dict[str, Floats]
    dt_s: Floats
    series: dict[str, Floats]
    events: tuple[tuple[float, str], ...]
    plan: Plan

    def first(self, what: str, after_s: float = 0.0) -> float | None:
        return next((t for t, name in self.events if name == what and t >= after_s), None)

    def at(self, name: str, t_s: Floats) -> Floats:
        return np.interp(t_s, self.t_s, self.x[name])


def rest_table(robot: Robot) -> tuple[list[float], float]:
    """Rest voltage of the whole pack against charge drawn, and the step of that table in Ah."""
    step_Ah = robot.capacity_Ah / 400.0
    drawn = np.arange(0, 440) * step_Ah
    total = np.zeros_like(drawn)
    for share in robot.cell_capacity:
        total += np.interp(robot.start_charge - drawn / (robot.capacity_Ah * share), OCV_CHARGE, OCV_V)
    return total.tolist(), step_Ah


def simulate(plan: Plan) -> Truth:
    robot = plan.robot
    t, dt = plan.grid()
    s = plan.series(t)
    path = robot.path_mohm + s["path_mohm"]
    plugged = t >= plan.plug_in_s
    joined = ((s["open_path"] < 0.5) & plugged).astype(float)
    rows = list(
        zip(
            t.tolist(), dt.tolist(), s["cw"].tolist(), s["cl"].tolist(), s["cr"].tolist(), s["servo_A"].tolist(),
            joined.tolist(), (path * 1e-3).tolist(),
            ((robot.weapon_path_mohm + s["weapon_mohm"]) * 1e-3).tolist(), (s["open_weapon"] > 0.5).tolist(),
            ((robot.drive_path_mohm + s["left_mohm"] + robot.drive_winding_mohm) * 1e-3).tolist(),
            ((robot.drive_path_mohm + s["right_mohm"] + robot.drive_winding_mohm) * 1e-3).tolist(),
            s["free_w"].tolist(), s["free_l"].tolist(), s["free_r"].tolist(), s["push_l_A"].tolist(),
            s["push_r_A"].tolist(), s["drag_w"].tolist(), s["brake_w"].tolist(), s["hit_w"].tolist(),
            s["short_w_S"].tolist(), s["short_l_S"].tolist(), s["on_w"].tolist(), s["ke_w"].tolist(),
            s["rm_w"].tolist(), s["limit_w"].tolist(), s["rail_short_A"].tolist(), strict=True,
        )
    )  # fmt: skip
    out, events = _run(robot, rows, plan.short_upstream)
    table = np.array(out)
    x = {name: np.ascontiguousarray(table[:, k]) for k, name in enumerate(COLUMNS)}
    return Truth(t, x, dt, s, tuple(events), plan)


def _run(
    robot: Robot, rows: list[tuple[float, ...]], upstream: bool
) -> tuple[list[tuple[float, ...]], list[tuple[float, str]]]:
    # Everything the loop touches is a local: it runs some 30,000 times a match.
    rest, rest_step = rest_table(robot)
    share = sum(robot.cell_r) / len(robot.cell_r)
    r0, r1, r2 = (share * r * 1e-3 for r in (robot.r0_mohm, robot.r1_mohm, robot.r2_mohm))
    tau1, tau2 = robot.tau1_s, robot.tau2_s
    bus_F = robot.bus_mF * 1e-3
    ke0 = 1.0 / (robot.weapon_kv / RPM_PER_RAD_S)
    rm0 = robot.weapon_winding_mohm * 1e-3
    j_w, drag0, fric_w = robot.weapon_inertia, robot.weapon_drag, robot.weapon_friction_Nm
    lim_in0, lim_m0, brake_A = robot.weapon_input_limit_A, robot.weapon_motor_limit_A, robot.weapon_brake_A
    slew_w = 1.0 / robot.weapon_ramp_s
    cut_V = robot.weapon_cutoff_V or 0.0
    min_V, max_V, hot = robot.weapon_minimum_V, robot.weapon_maximum_V, robot.weapon_derate_degC
    heat_w, cool_w, air = robot.weapon_heat_K_per_A2s, robot.weapon_cool_s, robot.air_degC
    ke_d = 1.0 / (robot.drive_kv / RPM_PER_RAD_S)
    j_d, fric_d, lim_d = robot.drive_inertia, robot.drive_friction_Nm, robot.drive_limit_A
    slew_d = 1.0 / robot.drive_ramp_s
    rail_lim, rx_min, reboot = robot.regulator_limit_A, robot.receiver_minimum_V, robot.reboot_s

    v = vw = z1 = z2 = ww = wl = wr = dw = dl = dr = drawn = 0.0
    deg_w, deg_p = air, robot.pack_degC
    rx_t, rx_low = 0.3, 0.0
    w_off, d_off, cut_t, cut_low = 0.5, 0.5, 0.0, 0.0
    derated = False
    out: list[tuple[float, ...]] = []
    events: list[tuple[float, str]] = []
    for block in range(0, len(rows), BLOCK):
        place = drawn / rest_step
        k = min(max(int(place), 0), len(rest) - 2)
        slope = (rest[k + 1] - rest[k]) / rest_step
        rest_0, drawn_0 = rest[k] + (place - k) * (rest[k + 1] - rest[k]), drawn
        factor = math.exp(robot.cold_factor_per_K * (25.0 - deg_p)) if deg_p < 25.0 else 1.0
        rf0, rf1, rf2 = r0 * factor, r1 * factor, r2 * factor
        for row in rows[block : block + BLOCK]:
            (t, dt, cw, cl, cr, servo, joined, r_path, rw, open_w, ml, mr, free_w, free_l, free_r, push_l, push_r,
             drag, brake, hit, short_w, short_l, on, ke_f, rm_f, lim_f, rail_short) = row  # fmt: skip
            if rx_t > 0.0:
                rx_t -= dt
                cw = cl = cr = 0.0
                servo = 0.1
            # weapon controller: its own protections first
            ww *= hit
            e = ke0 * ke_f * ww
            m = rm0 * rm_f
            if w_off > 0.0:
                w_off -= dt
                cw = 0.0
                dw = e / v if v > 1.0 else 0.0
            if cut_t > 0.0:
                cut_t -= dt
                cw = 0.0
            i_lim, m_lim = lim_in0 * lim_f, lim_m0 * lim_f
            if deg_w > hot:
                back = max(0.12, 1.0 - (deg_w - hot) / 6.0)
                i_lim *= back
                m_lim *= back
                if not derated:
                    derated = True
                    events.append((t, "derated"))
            step = dt * slew_w
            gap = cw - dw
            dw += step if gap > step else (-step if gap < -step else gap)
            if dw < 0.0:
                dw = 0.0
            g_w = h_w = 0.0
            d = dw
            if on > 0.5 and not open_w and v > 3.0 and w_off <= 0.0 and (cw > 0.0 or (brake > 0.0 and cut_t <= 0.0)):
                if brake > 0.0:
                    d = max(0.0, (e - brake * brake_A * m) / v)
                    g_w, h_w = d * d / (m + rw * d * d), -d * e / (m + rw * d * d)
                    dw = d
                else:
                    top = (e + m_lim * m) / v
                    if d > top:
                        d = top
                    # the run is part of what the limiter sees only through v, which it measures itself
                    top = (e + math.sqrt(e * e + 4.0 * v * m * i_lim)) / (2.0 * v)
                    if d > top:
                        d = top
                    if d * v > e:
                        if dw > d + 0.25:
                            dw = d + 0.25  # a limiter holds its ramp back, so that the ramp does not wind up
                        rs = m + rw * d * d
                        g_w, h_w = d * d / rs, -d * e / rs
                    else:
                        d = dw
            else:
                d = 0.0
            if g_w == 0.0 and e > v and not open_w:  # rectified back-EMF
                g_w, h_w = 1.0 / (m + rw), -e / (m + rw)
            g_s = short_w / (1.0 + short_w * rw) if short_w > 0.0 and not open_w else 0.0
            # drives
            step = dt * slew_d
            if d_off > 0.0:
                d_off -= dt
                cl = cr = 0.0
            gap = cl - dl
            dl += step if gap > step else (-step if gap < -step else gap)
            gap = cr - dr
            dr += step if gap > step else (-step if gap < -step else gap)
            g_l = h_l = g_r = h_r = 0.0
            if v > 3.0 and d_off <= 0.0:
                e_l, e_r = ke_d * wl, ke_d * wr
                top, low = (e_l + lim_d * ml) / v, (e_l - lim_d * ml) / v
                ql = top if dl > top else (low if dl < low else dl)
                top, low = (e_r + lim_d * mr) / v, (e_r - lim_d * mr) / v
                qr = top if dr > top else (low if dr < low else dr)
                if ql != 0.0:
                    g_l, h_l = ql * ql / ml, -ql * e_l / ml
                if qr != 0.0:
                    g_r, h_r = qr * qr / mr, -qr * e_r / mr
            else:
                ql = qr = 0.0
            # rail
            rail = v - DROPOUT_V
            if rail > 5.0:
                rail = 5.0
            elif rail < 0.0:
                rail = 0.0
            load = servo + 0.15 + rail_short
            if load > rail_lim:
                rail *= rail_lim / load
                load = rail_lim
            if rail < rx_min:
                rx_low += dt
                if rx_low > 0.002:
                    if rx_t <= 0.0:
                        events.append((t, "receiver_off"))
                    rx_t = reboot
            else:
                rx_low = 0.0
            fixed = (STANDBY_A + rail * load / (REGULATOR_EFFICIENCY * v)) if v > 4.0 else v * 0.02
            # the bus
            emf = rest_0 + slope * (drawn - drawn_0) - z1 - z2
            g_p = joined / (rf0 + r_path)
            a = bus_F / dt
            v = (a * v + emf * g_p - h_w - h_l - h_r - fixed) / (a + g_p + g_w + g_l + g_r + g_s + short_l)
            if v < 0.0:
                v = 0.0
            i_p = (emf - v) * g_p
            drawn += i_p * dt / 3600.0
            z1 += (i_p * rf1 - z1) * dt / (tau1 + dt)
            z2 += (i_p * rf2 - z2) * dt / (tau2 + dt)
            deg_p += dt * i_p * i_p * (rf0 + rf1 + rf2) / 520.0
            i_s = g_s * v
            i_w = g_w * v + h_w
            im_w = i_w / d if d > 0.02 else i_w
            ww += dt * (ke0 * ke_f * im_w - drag * (drag0 * ww * ww + (fric_w if ww > 1.0 else 0.0))) / j_w
            ww = ww * free_w if ww > 0.0 else 0.0
            deg_w += dt * (heat_w * (im_w * im_w + (0.0 if upstream else i_s * i_s)) - (deg_w - air) / cool_w)
            i_l, i_r = g_l * v + h_l, g_r * v + h_r
            im_l = i_l / ql if ql > 0.02 or ql < -0.02 else 0.0
            im_r = i_r / qr if qr > 0.02 or qr < -0.02 else 0.0
            hold = fric_d + ke_d * push_l
            force = ke_d * im_l
            if -3.0 < wl < 3.0 and -hold < force < hold:
                wl = 0.0
            else:
                sign = 1.0 if wl > 0.0 or (wl == 0.0 and force > 0.0) else -1.0
                new = wl + dt * (force - sign * hold) / j_d
                wl = new if new * wl >= 0.0 else 0.0
            wl *= free_l
            hold = fric_d + ke_d * push_r
            force = ke_d * im_r
            if -3.0 < wr < 3.0 and -hold < force < hold:
                wr = 0.0
            else:
                sign = 1.0 if wr > 0.0 or (wr == 0.0 and force > 0.0) else -1.0
                new = wr + dt * (force - sign * hold) / j_d
                wr = new if new * wr >= 0.0 else 0.0
            wr *= free_r
            # what the weapon controller sees at its terminals
            vw = max(vw - dt * 300.0, e) if open_w else v - (i_w + i_s) * rw
            if w_off <= 0.0:
                if vw < min_V:
                    w_off = RESTART_s
                    events.append((t, "weapon_restart"))
                elif vw > max_V and cut_t <= 0.0:
                    cut_t = TRIP_s
                    events.append((t, "weapon_trip"))
                elif vw < cut_V and cw > 0.05:
                    cut_low += dt
                    if cut_low > 0.05 and cut_t <= 0.0:
                        cut_t = CUT_RETRY_s
                        events.append((t, "weapon_cut"))
                else:
                    cut_low = 0.0
            elif vw < min_V:
                w_off = RESTART_s
            if v < 7.0:
                if d_off <= 0.0:
                    events.append((t, "drive_restart"))
                d_off = RESTART_s
            out.append(
                (v, i_p, z1, z2, vw, i_w, im_w, ww, d, deg_w, i_l, im_l, wl, ql, i_r, im_r, wr, qr, rail, load,
                 1.0 if rx_t <= 0.0 else 0.0, 1.0 if w_off <= 0.0 else 0.0, i_s, rest_0 + slope * (drawn - drawn_0),
                 factor, deg_p, drawn, 1.0 if d_off <= 0.0 else 0.0)
            )  # fmt: skip
    return out, events
