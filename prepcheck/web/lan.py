"""Where phones reach this computer, and codes for them to scan."""

from __future__ import annotations

import io
import ipaddress
import socket

_NOWHERE = (("192.0.2.1", socket.AF_INET), ("2001:db8::1", socket.AF_INET6))
"""Addresses for documents (RFC 5737, RFC 3849); asking the way there sends nothing."""


def host_names() -> set[str]:
    """Return the names of this computer by which a phone may ask for it."""
    name = socket.gethostname().lower()
    return {"localhost", name, f"{name}.local"}


def addresses() -> list[str]:
    """Return the private addresses of this computer in its networks, the one most in use first."""
    found = [*_on_the_way_out(), *_of_the_name()]
    return list(dict.fromkeys(one for one in found if _in_a_lan(one)))


def _on_the_way_out() -> list[str]:
    found = []
    for nowhere, family in _NOWHERE:
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as way:
                way.connect((nowhere, 9))
                found.append(str(way.getsockname()[0]))
        except OSError:  # no way out by this family
            continue
    return found


def _of_the_name() -> list[str]:
    try:
        return [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None)]
    except OSError:
        return []


def _in_a_lan(address: str) -> bool:
    one = ipaddress.ip_address(address.partition("%")[0])
    return one.is_private and not one.is_loopback and not one.is_link_local


def url(scheme: str, address: str, port: int) -> str:
    """Return the address of the page as a browser takes it."""
    return f"{scheme}://{f'[{address}]' if ':' in address else address}:{port}"


def code_for_terminal(text: str) -> str:
    """Return a code to scan (QR, ISO/IEC 18004) as blocks of text."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()


def code_as_svg(text: str) -> str:
    """Return a code to scan as an SVG for a page, without inline style."""
    import segno

    return str(segno.make(text, error="m", micro=False).svg_inline(scale=6, border=4, light="white"))
