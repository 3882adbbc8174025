"""Whether a CAN interface of the Linux kernel listens only, as the system's own tool `ip` shows it (iproute2).

An application cannot set it: it is a setting of the interface, made when it is brought up. Asked is only what is so;
where nobody answers, that is said, and never taken for a yes.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

_MOST_S: Final = 2.0


@dataclass(frozen=True)
class CanLink:
    """listen_only, bitrate: None where it is not known; wired: False for an interface that exists in software only."""

    listen_only: bool | None = None
    bitrate: int | None = None
    wired: bool = True


def ask_ip(channel: str) -> str:
    """What `ip -details -json link show dev CHANNEL` prints, "" where it is not there or fails."""
    tool = shutil.which("ip") or shutil.which("ip", path="/usr/sbin:/sbin")
    if tool is None:
        return ""
    try:
        done = subprocess.run(
            [tool, "-details", "-json", "link", "show", "dev", channel],
            capture_output=True, stdin=subprocess.DEVNULL, timeout=_MOST_S, check=False,
        )  # fmt: skip
    except (OSError, ValueError, subprocess.SubprocessError):
        return ""
    return done.stdout.decode("utf-8", errors="replace") if done.returncode == 0 else ""


def can_link(channel: str, ask: Callable[[str], str] = ask_ip) -> CanLink:
    """`ctrlmode` holds what is on; `ctrlmode_supported` what could be, and says nothing of what is."""
    try:
        links = json.loads(ask(channel))
        (link,) = [one for one in links if one.get("ifname") == channel]
        about = link["linkinfo"]
        kind, data = about["info_kind"], about.get("info_data", {})
        if kind in ("vcan", "vxcan"):
            return CanLink(wired=False)
        if kind != "can":
            return CanLink()
        modes = data.get("ctrlmode", [])
        bitrate = data.get("bittiming", {}).get("bitrate")
        return CanLink("LISTEN-ONLY" in modes, bitrate if isinstance(bitrate, int) else None)
    except (ValueError, KeyError, TypeError, AttributeError):
        return CanLink()


def bring_up(channel: str, bitrate: int | None) -> str:
    """The command that makes it listen only."""
    return f"ip link set {channel} up type can bitrate {bitrate or '…'} listen-only on"


def link_remarks(channel: str, link: CanLink, wanted: int | None) -> list[str]:
    """wanted: the bit rate that the user named."""
    if not link.wired:
        return ["an interface in software: nothing is acknowledged"]
    again = f"ip link set {channel} down; {bring_up(channel, wanted or link.bitrate)}"
    if link.listen_only:
        found = [f"it listens only: {channel} was brought up with listen-only on, and acknowledges nothing"]
    elif link.listen_only is None:
        found = [
            f"not checked whether it listens only: `ip` gave no answer. Look with: ip -details link show {channel}; "
            f"where LISTEN-ONLY is not among its modes it acknowledges frames, and this mends it: {again}"
        ]
    else:
        found = [
            f"it acknowledges frames, which can hide that another node is gone: {channel} was brought up without "
            f"listen-only. Better: {again}"
        ]
    if wanted is not None and link.bitrate is not None and wanted != link.bitrate:
        found.append(f"its bit rate is {link.bitrate}, not the {wanted} that you named; nothing was changed")
    return found
