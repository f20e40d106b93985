"""What ``coupage run --lan`` needs: this machine's addresses on the local network, plain words."""

from __future__ import annotations

import ipaddress
import os
import socket
import sys

__all__ = ["lan_addresses", "open_to_lan", "warn"]

# RFC 5737: an address that nobody has. Nothing is sent; the system only says by which of its own
# addresses it would go there.
_NOWHERE = "192.0.2.1"


def lan_addresses() -> list[str]:
    """Return this machine's addresses on its networks, the one of the way out first."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_NOWHERE, 9))
            found.append(str(probe.getsockname()[0]))
        except OSError:
            pass
    try:
        names = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(entry[4][0]) for entry in names]
    except OSError:
        pass
    usable = [each for each in dict.fromkeys(found) if not ipaddress.ip_address(each).is_loopback]
    return [each for each in usable if not ipaddress.ip_address(each).is_unspecified]


def open_to_lan(port: int) -> bool:
    """Set what the program must know to be reached from the local network, or say why it cannot.

    Called before Django reads its settings.
    """
    addresses = lan_addresses()
    if not addresses:
        print(
            "coupage run: this machine is on no network, so --lan would reach nobody; join a "
            "Wi-Fi or plug in a cable, or leave --lan out",
            file=sys.stderr,
        )
        return False
    name = socket.gethostname()
    local = name if name.endswith(".local") else f"{name}.local"
    known = os.environ.get("COUPAGE_HOSTS", "")
    os.environ["COUPAGE_HOSTS"] = " ".join([known, *addresses, name, local]).strip()
    os.environ.setdefault("COUPAGE_LAN_URL", f"http://{addresses[0]}:{port}")
    return True


def warn() -> str:
    """Say in plain words what serving the local network exposes."""
    return (
        "  Served to everybody on this network, over a line that is not encrypted.\n"
        "  They can join a table by its code, and reach nothing else: signing in works on this\n"
        "  machine only. Whoever listens in on the same Wi-Fi can read what tasters enter, and\n"
        "  who holds a taster's link can fill that sheet. Use the roastery's own Wi-Fi with a\n"
        "  password, not one for guests, and stop it when the table is over.\n"
    )
