"""The demo season of an invented robot: simulated matches, and the raw logs that its loggers would leave.

write_demo() makes the season folder, demo_logs() gives the simulated truth behind one match, and simulate() runs
other builds, packs, scripts and planted faults. Nothing here knows how logs are read or judged.
"""

from .demo import DemoMatch, Planted, demo_logs, write_demo
from .simulate import simulate

__all__ = ["DemoMatch", "Planted", "demo_logs", "simulate", "write_demo"]
