"""Contacts and joints: how warm they get, what they drop, what the contact spot itself sees.

Heating: one pole is a first-order body, τ·dθ/dt + θ = θ∞, with θ∞ = rise_at_rated·(i/rated)ⁿ·(r/r_stated);
n = 2 is Ohm with constant cooling, 1.7…2.0 is measured on connectors (memory). Where a resistance was measured
in the log (a joint that got worse), the same written as power: R_th = rise_at_rated/(rated²·r_stated),
θ∞ = i²·r·R_th. Two poles in a loop heat alike, so the figure is that of one pole; a measured excess sits in
one pole (value, upper end) or is shared by both (lower end). Holds up to 150 K of rise and 250 °C; beyond,
"at least". A log of current cannot see a loose contact: only a voltage across it can.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import numpy.typing as npt

from .binned import Binned, first_order
from .ratings import OutsideValidity, Rating, rating, value
from .signal import Floats, Measured

if TYPE_CHECKING:
    from ingest.builds import Contact

ContactKind = Literal["connector", "disconnect", "terminal", "joint"]

# Our choice: to here the losses grow about in proportion; beyond, radiation and softening housings make a
# linear figure a fiction, while every limit is long passed.
TOP_RISE_K: Final = 150.0


@dataclass(frozen=True)
class ContactBody:
    """A contact as its heating sees it.

    rated_A            its 60 s rating; r_mohm per pole; poles in series in the loop
    rise_at_rated_K, time_constant_s   as stated, else None: the defaults with their interval
    """

    id: str
    kind: ContactKind
    rated_A: float
    r_mohm: float | None = None
    poles: int = 1
    rise_at_rated_K: float | None = None
    time_constant_s: float | None = None

    @property
    def uses_defaults(self) -> tuple[str, ...]:
        """Which figures are ours and not the user's, to be named beside the result."""
        missing = (
            ("rise_at_rated_K", self.rise_at_rated_K),
            ("time_constant_s", self.time_constant_s),
        )
        return tuple(name for name, given in missing if given is None)


def body_of_contact(contact: Contact) -> ContactBody:
    """The body that a [[contact]] of the build file describes; OutsideValidity where it states no rating."""
    if contact.rated_A is None:
        mend = f'state rated_A in [[contact]] "{contact.id}"'
        raise OutsideValidity(f"what {contact.id} is rated for is not known", mend)
    return ContactBody(
        id=contact.id,
        kind=contact.kind,
        rated_A=contact.rated_A,
        r_mohm=contact.resistance_mohm,
        poles=contact.pole_count,
        rise_at_rated_K=contact.rise_at_rated_K,
        time_constant_s=contact.time_constant_s,
    )


def default_limit() -> Rating:
    """105 °C, nylon housings and heat-shrink (memory): for a contact whose limit_degC is not stated."""
    return rating("housing_limit")


def rise_at_rated(contact: ContactBody) -> Measured:
    """Steady rise at rated current in K: as stated, else 37.5 K with 30…45 K (our choice, memory)."""
    if contact.rise_at_rated_K is not None:
        return Measured.exact(contact.rise_at_rated_K, "stated")
    default, low, high = (value("contact_rise_at_rated", key) for key in ("default", "low", "high"))
    return Measured(default, low, high, "default rise at rated current (our choice; 30 and 45 K from memory)")


def time_constant(contact: ContactBody) -> Measured:
    """Thermal time constant in s: as stated, else 60 s with 25…140 s (our choice)."""
    if contact.time_constant_s is not None:
        return Measured.exact(contact.time_constant_s, "stated")
    default, low, high = (value("contact_time_constant", key) for key in ("default", "low", "high"))
    return Measured(default, low, high, "default time constant (our choice)")


def thermal_resistance_K_W(contact: ContactBody) -> float:
    """R_th of one pole, K/W: rise_at_rated/(rated²·r_stated); OutsideValidity without a stated resistance."""
    if contact.r_mohm is None or contact.r_mohm <= 0:
        mend = f'state resistance_mohm in [[contact]] "{contact.id}"'
        raise OutsideValidity(f"the resistance of {contact.id} when good is not known", mend)
    return rise_at_rated(contact).value / (contact.rated_A**2 * contact.r_mohm * 1e-3)


def steady_rise(contact: ContactBody, current_A: float, excess_mohm: float = 0.0) -> Measured:
    """Rise above the air after a long time at that current, K (one pole).

    excess_mohm  resistance above the stated one, in one pole (needs r_mohm); 0…1000 mΩ
    The interval holds the exponent 1.7…2.0, the default rise, and a shared excess. Above 150 K: at least.
    """
    one, shared = _resistance_factor(contact, np.asarray(excess_mohm, dtype=np.float64))
    ratio = abs(current_A) / contact.rated_A
    rise, weak = rise_at_rated(contact), value("contact_rise_exponent", "low")
    powers = sorted((ratio**2, ratio**weak))
    figure = Measured(
        float(rise.value * one * ratio**2),
        float(rise.low * shared * powers[0]),
        float(rise.high * one * powers[1]),
        rise.basis,
    )
    return _at_least(figure)


@dataclass(frozen=True, eq=False)
class ContactHeat:
    """What one contact did.

    t_s, temp_degC, low_degC, high_degC   (k+1,) at the bin edges; the curve is held at its highest valid figure
    peak, peak_s                          the hottest, and when
    valid_to_s                            where it leaves the range (150 K of rise), None where it never does
    uses_defaults                         names of the figures that nobody stated
    """

    contact: ContactBody
    t_s: Floats
    temp_degC: Floats
    low_degC: Floats
    high_degC: Floats
    peak: Measured
    peak_s: float
    valid_to_s: float | None
    uses_defaults: tuple[str, ...]


def contact_heat(
    contact: ContactBody,
    load: Binned,
    air_degC: float = 25.0,
    *,
    excess_mohm: npt.ArrayLike = 0.0,
    excess_low_mohm: npt.ArrayLike | None = None,
    excess_high_mohm: npt.ArrayLike | None = None,
    start_degC: float | None = None,
    air_uncertainty_K: float | None = None,
    i2_low_rel: float = 0.0,
    i2_high_rel: float = 0.0,
    at_least: bool = False,
) -> ContactHeat:
    """Temperature of a contact under its load, first order over the bins of i².

    excess_mohm  resistance above the stated one, one figure or one per bin (k,): a joint that got 9 mΩ worse
                 at some time is 0 before and 9 after; its own interval in excess_low/high_mohm. Needs r_mohm.
    air_degC     the air about it (±3 K unless air_uncertainty_K says otherwise); start_degC default the air
    i2_low_rel, i2_high_rel   how far i² may lie below and above, as shares; at_least: it is a lower bound

    Peak: interval from rise, time constant, exponent, sharing, air and i², each alone, in quadrature.
    Raises OutsideValidity where an excess is given without a stated resistance.
    """
    count = load.mean_i2.shape[0]

    def excess(given: npt.ArrayLike | None) -> Floats:
        source = excess_mohm if given is None else given
        return np.broadcast_to(np.asarray(source, dtype=np.float64), (count,))

    heat = _resistance_factor(contact, excess(None))[0]
    most = _resistance_factor(contact, excess(excess_high_mohm))[0]
    least = _resistance_factor(contact, excess(excess_low_mohm))[1]
    rise, tau = rise_at_rated(contact), time_constant(contact)
    begin = 0.0 if start_degC is None else start_degC - air_degC
    rated = load.mean_i2 / contact.rated_A**2
    weak = value("contact_rise_exponent", "low") / 2

    def course(drive: Floats, tau_s: float = tau.value) -> Floats:
        return first_order(load.edges_s, drive, tau_s, begin)

    base = course(rise.value * rated * heat)
    changes = [
        course(rise.low * rated * heat) - base,
        course(rise.high * rated * heat) - base,
        course(rise.value * rated * heat, tau.low) - base,
        course(rise.value * rated * heat, tau.high) - base,
        course(rise.value * rated**weak * heat) - base,
        course(rise.value * rated * least) - base,
        course(rise.value * rated * most) - base,
    ]
    if load.has_gaps:
        changes += [course(rise.value * i2 / contact.rated_A**2 * heat) - base for i2 in (load.low_i2, load.high_i2)]
    air_K = value("air_uncertainty", "stated") if air_uncertainty_K is None else air_uncertainty_K
    warmth = np.maximum(base - first_order(load.edges_s, np.zeros(count), tau.value, begin), 0.0)
    changes += [np.full_like(base, air_K), np.full_like(base, -air_K), warmth * i2_high_rel, -warmth * i2_low_rel]
    stacked = np.array(changes)
    # Two figures for one cause (rise, time constant, sharing) count once: their worse one of each sign.
    up = _quadrature(np.maximum(stacked, 0.0), load.has_gaps)
    down = _quadrature(np.maximum(-stacked, 0.0), load.has_gaps)
    return _course(contact, load.edges_s, air_degC, base, base - down, base + up, at_least)


def _quadrature(parts: Floats, gaps: bool) -> Floats:
    groups = [(0, 1), (2, 3), (4,), (5, 6)] + ([(7, 8)] if gaps else [])
    first = 9 if gaps else 7
    groups += [(first, first + 1), (first + 2, first + 3)]
    return np.sqrt(sum(np.square(parts[list(group)].max(axis=0)) for group in groups))


def _course(
    contact: ContactBody, edges: Floats, air: float, base: Floats, low: Floats, high: Floats, at_least: bool
) -> ContactHeat:
    past = np.flatnonzero(base > TOP_RISE_K)
    valid_to = float(edges[past[0]]) if past.size else None
    if past.size:
        base = np.minimum(base, TOP_RISE_K)
        base[past[0] :] = TOP_RISE_K
        low = np.minimum(low, base)
        high = high.copy()
        high[past[0] :] = np.inf
    if at_least:
        high = np.full_like(high, np.inf)
    high = np.where(high > TOP_RISE_K, np.inf, high)
    at = int(np.argmax(base))
    notes = [rise_at_rated(contact).basis, time_constant(contact).basis]
    basis = "; ".join(dict.fromkeys(notes))
    if past.size:
        basis = f"passes a rise of {TOP_RISE_K:g} K, where the model ends: at least this"
    elif at_least:
        basis += "; the current is a lower bound: at least this"
    peak = Measured(float(base[at]) + air, float(low.max()) + air, float(high.max()) + air, basis)
    return ContactHeat(
        contact, edges, base + air, low + air, high + air, peak, float(edges[at]), valid_to, contact.uses_defaults
    )


def _resistance_factor(contact: ContactBody, excess_mohm: Floats) -> tuple[Floats, Floats]:
    """(in one pole, shared by the poles): by how much the resistance of the hottest pole is above the stated."""
    if not excess_mohm.any():
        one = np.ones_like(excess_mohm)
        return one, one
    if contact.r_mohm is None or contact.r_mohm <= 0:
        thermal_resistance_K_W(contact)  # raises with the mend
    if (excess_mohm < 0).any() or (excess_mohm > 1000).any():
        raise OutsideValidity(f"an excess resistance outside 0 to 1000 mohm at {contact.id}")
    stated = contact.r_mohm or math.nan
    share = max(value("contact_excess_share", "low"), 1 / contact.poles)
    return 1 + excess_mohm / stated, 1 + excess_mohm * share / stated


def _at_least(rise: Measured) -> Measured:
    if rise.value <= TOP_RISE_K:
        high = math.inf if rise.high > TOP_RISE_K else rise.high
        return Measured(rise.value, rise.low, high, rise.basis)
    basis = f"passes a rise of {TOP_RISE_K:g} K, where the model ends: at least this"
    return Measured(TOP_RISE_K, min(rise.low, TOP_RISE_K), math.inf, basis)
