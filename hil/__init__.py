"""Rackproof: prove racks of networked sensor and actuator nodes."""

__version__ = "0.1.0"
