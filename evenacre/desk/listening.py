"""What the desk listens on, and how it is served."""

from __future__ import annotations

import socket
from typing import Literal

import uvicorn
from starlette.types import ASGIApp


def listen(host: str, port: int) -> socket.socket:
    """Listen on an address; 0 for any port that is free.

    Raises
    ------
    OSError
        When it cannot be had.
    """
    found = socket.socket()
    if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows lets others listen along without it
        found.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:  # others wait a minute for an address that was left, without it
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((host, port))
        found.listen(64)
    except OSError:
        found.close()
        raise
    return found


def serving(app: ASGIApp, lifespan: Literal["on", "off"]) -> uvicorn.Config:
    """How each way in is served."""
    return uvicorn.Config(
        app,
        ws="none",
        http="h11",
        lifespan=lifespan,
        access_log=False,
        log_level="error",
        server_header=False,
        timeout_graceful_shutdown=2,
    )
