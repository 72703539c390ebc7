"""Folium, brought in without opening a socket.

A library that it fetches pages with, which is not used here, binds one as it is imported to see
whether this computer has IPv6.
"""

from __future__ import annotations

import socket

_has_ipv6 = socket.has_ipv6
socket.has_ipv6 = False
try:
    import folium
    from branca.element import MacroElement
finally:
    socket.has_ipv6 = _has_ipv6

__all__ = ["MacroElement", "folium"]
