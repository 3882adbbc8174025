"""The demo season of an invented robot: simulated matches, and the raw logs that its loggers would leave.

write_demo() makes the season folder, demo_logs() gives the simulated truth behind one match, and simulate() runs
other builds, packs, scripts and planted faults. Nothing here knows how logs are read or judged.
"""

from .demo import DemoMatch, Planted, demo_logs, write_demo
from .parts import BUILDS, PACKS
from .plants import JointStep, Plants
from .script import PRE_ROLL_s, fight
from .simulate import simulate
from .truth import Truth

__all__ = [
    "BUILDS",
    "PACKS",
    "DemoMatch",
    "JointStep",
    "PRE_ROLL_s",
    "Planted",
    "Plants",
    "Truth",
    "demo_logs",
    "fight",
    "simulate",
    "write_demo",
]
