"""A node's serial console: octets to lines, lines to answers, readings, boots and identities."""
