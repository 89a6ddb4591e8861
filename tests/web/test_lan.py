"""Where phones reach this computer, and the code that they scan."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from prepcheck.web import lan


@pytest.mark.parametrize("address", ["10.1.2.3", "172.16.0.1", "172.31.255.255", "192.168.1.5", "169.254.9.9"])
def test_addresses_of_a_shop_are_private(address):
    """RFC 1918, section 3; RFC 3927, section 2.1 (from memory)."""
    assert lan.is_private(address)


@pytest.mark.parametrize("address", ["172.32.0.1", "8.8.8.8", "192.0.2.1", "11.0.0.1"])
def test_other_addresses_are_not(address):
    assert not lan.is_private(address)


def test_no_loopback_is_offered_to_phones():
    assert not any(address.startswith("127.") for address in lan.addresses())


def test_private_addresses_come_first(monkeypatch):
    monkeypatch.setattr(lan, "_on_the_way_out", lambda: ["93.184.216.34"])
    monkeypatch.setattr(lan, "_of_the_name", lambda: ["127.0.1.1", "192.168.1.5", "93.184.216.34"])
    assert lan.addresses() == ["192.168.1.5", "93.184.216.34"]


def test_the_address_is_as_a_browser_takes_it():
    assert lan.url("http", "192.168.1.5", 8473) == "http://192.168.1.5:8473"
    assert lan.url("https", "fd00::2", 8473) == "https://[fd00::2]:8473"


def test_the_code_in_the_terminal_reads_as_the_link():
    """Read back with OpenCV's own reader, from the blocks that the terminal shows."""
    link = "http://192.168.1.5:8473/pair/abcdefghijklmnopqrstuvwxyz012345"
    rows = lan.code_for_terminal(link).strip("\n").split("\n")
    dark = {" ": (0, 0), "█": (1, 1), "▀": (1, 0), "▄": (0, 1)}
    halves = [[dark[sign][half] for sign in row] for row in rows for half in (0, 1)]
    picture = np.kron(np.pad(np.array(halves, np.uint8), 4, constant_values=1), np.ones((8, 8), np.uint8)) * 255
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == link
