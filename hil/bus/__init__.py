"""The shared segment: its timing budget, and a medium that behaves like one."""
