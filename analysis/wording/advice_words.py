"""Suggested changes as imperatives, and the cautions that stand beside every result."""

from __future__ import annotations

from analysis.wording.names import listed

CAUTIONS = (
    "Estimates are not certification: event rules, makers' data and local codes come first.",
    "Main disconnect mechanical and within reach, power light working, weapon restrained before power.",
    "Charge lithium packs watched, in the event's charging place; a hot, puffed or punctured pack goes outdoors.",
    "No log sees a crushed cell: look at the pack before it goes in again.",
)  # fmt: skip


SPINNING_CAUTION = "A spinning weapon can keep the robot alive after the disconnect opens."


REPLAY_CAUTION = (
    "A replay says what this match would have measured, with its band; it is no proof of the next one. Log again "
    "after the change. Event rules, makers' data and local codes come first."
)


# What a builder does, by the kind of change; {parts} and {figure} are filled in.
ADVICE_WORDS = {
    "remake": "Remake {parts}",
    "gauge": "Fit {figure} in the {parts}",
    "parallel": "Lay {figure} leads side by side in the {parts}",
    "length_mm": "Shorten the {parts} to {figure}",
    "contact": "Fit a {figure} size for the {parts}",
    "one_fewer": "Solder through {parts}: one contact fewer",
    "other_pack": "Fit {parts}, stated at {figure}",
    "fuse": "Fit a {figure} fuse as {parts}; its wire allows it",
    "limit": "Set the current limit of the {parts} to {figure}",
    "free_and_limit": "Free the {parts} and look for what jammed it; then set its current limit to {figure}",
    "ramp": "Set the ramp of the {parts} to {figure}",
    "gears": "Gear the {parts} to {figure}",
    "sound_pack": "Fit a sound pack, {figure} mΩ or less; keep {parts} out of the robot",
    "larger_pack": "Fit a pack of {figure}",
    "parallel_packs": "Fit a second pack like {parts} beside it, at equal volts",
    "full": "Charge the pack full first",
    "warm": "Warm the pack to room temperature first",
    "own_supply": "Feed the servo from a supply of its own, not from the {parts}",
    "servo": "Free the servo that loads the {parts}",
    "antenna": "Move the antenna clear of metal and carbon; check its plug",
    "capacitors": "Fit capacitors at the motor of the {parts}",
    "spare": "To take weight out, fit {figure}",
    "motor_plugs": "Remake the three motor plugs of the {parts}",
}


def advice_sentence(
    action: str,
    parts: tuple[str, ...],
    figure: str,
    takes_min: float,
    left_min: float | None,
    adds_g: float | None,
    *,
    clears: bool,
) -> str:
    """One change as an imperative with what it costs: "Remake pack plug: 9 of your 40 minutes, 0 g."."""
    text = ADVICE_WORDS[action].format(parts=listed(parts), figure=figure)
    time = f"{takes_min:.0f} of your {left_min:g} minutes" if left_min is not None else f"{takes_min:.0f} minutes"
    mass = "" if adds_g is None else f", {adds_g:+.0f} g".replace("-", "−") if abs(adds_g) >= 0.5 else ", 0 g"
    head = "" if clears else "None of the changes clears it; the nearest: "
    body = text if clears else text[:1].lower() + text[1:]
    return f"{head}{body}: {time}{mass}."


def spare_note(
    matches: int,
    untold: int,
    worst_degC: float,
    limit_degC: float,
    drop_V: float,
    air_degC: float,
    *,
    room_g: float | None,
    late: tuple[float, float] | None,
    needs: str,
    overloads: tuple[str, ...] = (),
) -> str:
    """What stands beside a change that only takes weight out: on how many matches it rests, and what it costs."""
    said = [
        f"It clears nothing and only takes weight out: in {matches} matches of this build the wire would have stayed "
        f"under {worst_degC:.0f} °C of {limit_degC:.0f} °C in air of {air_degC:.0f} °C",
        f"up to {drop_V:.2f} V less at a load",
        "another opponent may load it more",
    ]
    if untold:
        said.insert(1, f"{untold} more {'match does' if untold == 1 else 'matches do'} not tell")
    if room_g is not None and room_g < 0:
        said.append(f"the robot is {-room_g:.0f} g over its limit")
    said += overloads
    if late is not None:
        said.append(f"{late[0]:.0f} minutes do not fit in {late[1]:g}")
    return "; ".join([*said, f"needs {needs}"]) + "."
