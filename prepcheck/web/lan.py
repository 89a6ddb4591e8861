"""Where phones reach this computer, and codes for them to scan."""

from __future__ import annotations

import io
import ipaddress
import socket

_NOWHERE = "192.0.2.1"
"""An address for documents (RFC 5737); asking the way there sends nothing."""
PRIVATE = tuple(map(ipaddress.ip_network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16")))
"""Networks of shops and homes (RFC 1918), and of computers without a router (RFC 3927)."""


def host_names() -> set[str]:
    """Return the names of this computer by which a phone may ask for it."""
    name = socket.gethostname().lower()
    return {"localhost", name, f"{name}.local"}


def addresses() -> list[str]:
    """Return the addresses (IPv4) of this computer in its networks, private ones first, then the one most in use."""
    found = dict.fromkeys(
        one for one in [*_on_the_way_out(), *_of_the_name()] if not ipaddress.ip_address(one).is_loopback
    )
    return sorted(found, key=lambda one: not is_private(one))


def is_private(address: str) -> bool:
    """Say whether an address is one of a shop's own network, which nobody else in the world has."""
    return any(ipaddress.ip_address(address) in network for network in PRIVATE)


def _on_the_way_out() -> list[str]:
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
            way.connect((_NOWHERE, 9))
            return [str(way.getsockname()[0])]
    except OSError:  # no way out
        return []


def _of_the_name() -> list[str]:
    try:
        return [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    except OSError:
        return []


def url(scheme: str, address: str, port: int) -> str:
    """Return the address of the page as a browser takes it."""
    return f"{scheme}://{f'[{address}]' if ':' in address else address}:{port}"


def code_for_terminal(text: str) -> str:
    """Return a code to scan (QR, ISO/IEC 18004) as blocks of text."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()
