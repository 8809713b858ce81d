"""Has bleak use the virtual air in place of an operating system's Bluetooth."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Iterator
from typing import Any

import bleak

from brakebeat.virtual.air import VirtualAir
from brakebeat.virtual.bleak_client import BumbleClient
from brakebeat.virtual.bleak_scanner import BumbleScanner

BACKEND_NAME = "bumble"


@contextlib.contextmanager
def bleak_on(air: VirtualAir) -> Iterator[None]:
    """For as long as this is open every new bleak scanner and client of this process uses ``air``."""
    patched: Any = bleak
    scanner = patched.get_platform_scanner_backend_type
    client = patched.get_platform_client_backend_type
    patched.get_platform_scanner_backend_type = lambda: (
        functools.partial(BumbleScanner, air=air),
        BACKEND_NAME,
    )
    patched.get_platform_client_backend_type = lambda: (
        functools.partial(BumbleClient, air=air),
        BACKEND_NAME,
    )
    try:
        yield
    finally:
        patched.get_platform_scanner_backend_type = scanner
        patched.get_platform_client_backend_type = client
