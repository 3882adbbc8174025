"""What a candidate is, and the figures of the pit that all of them share."""

from __future__ import annotations

from dataclasses import dataclass

# Minutes in the pit, our choice: from the time common jobs take a practised builder with the robot on the bench.
# Every change of the wiring holds OPEN: pack out, cover off and on, a spin in the test box, inspection again.
OPEN, JOINT, WIRE, CONTACT, FUSE = 6.0, 3.0, 10.0, 8.0, 2.0
PACK, BIGGER_PACK, PARALLEL_PACKS = 5.0, 10.0, 20.0  # as it was; another size to strap down; a harness to make
SETTING, GEARS, SUPPLY, CAPACITORS, ANTENNA, SERVO, MOTOR_PLUGS = 5.0, 25.0, 25.0, 20.0, 10.0, 15.0, 10.0
# Our choice: a change aims this far past the close margin, so that the band of the replay does not reach back.
AIM = 1.5
LOW_VOLTS = ("controller_cutoff", "controller_voltage", "pack_sag", "cell_minimum")
BLADES_A = (5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80, 100, 120)  # ratings that blade fuses are sold in
BETTER_CONTACT = (1.5, 0.6)  # our choice: the next larger size: half as much again of current, 0.6 of the resistance
SHORTER = 0.75  # our choice: what a run can lose when its parts are moved closer
FRESHER = 0.9  # our choice: another pack is worth a try at this share of what this one measures
NOT_FULL_PCT = 95.0  # our choice: under it a charge to the end is worth its minutes
REGULATOR_G = 25.0  # our choice: a small switching regulator with its leads
LARGER = (1.3, 1.25)  # capacity and mass of the next size of pack (our choice; makers step by a quarter to a third)


@dataclass(frozen=True)
class Candidate:
    """One change. sets: KEY, VALUE pairs; action names its sentence, parts and figure fill it.

    clears: ids of the findings it is meant for; unprovable: why it cannot be replayed ("" where it can).
    """

    sets: tuple[tuple[str, str], ...]
    action: str
    parts: tuple[str, ...]
    figure: str
    minutes: float
    clears: tuple[str, ...]
    needs: str = ""
    unprovable: str = ""
    adds_g: float | None = None

    @property
    def change(self) -> str:
        return "; ".join(f"{key} = {value}" for key, value in self.sets)
