"""Ports of loopback for a test: free a moment ago, all different."""

import socket


def free_ports(count: int) -> list[int]:
    """Return UDP ports that were free a moment ago."""
    made = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(count)]
    for one in made:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in made]
    for one in made:
        one.close()
    return ports


def free_port() -> int:
    """Return one of them."""
    return free_ports(1)[0]
