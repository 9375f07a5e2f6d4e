"""A kernel on paper: it answers ethtool requests from octets put together with `struct` alone.

Layouts and numbers are those of Linux: include/uapi/linux/netlink.h (nlmsghdr, nlattr, NLMSG_ERROR),
genetlink.h (genlmsghdr, CTRL_ATTR_FAMILY_ID) and ethtool_netlink.h (ETHTOOL_A_PLCA_*,
ETHTOOL_A_LINKSTATE_*), as the kernel's Documentation/networking/ethtool-netlink.rst lists them.
"""

import struct

FAMILY = 0x15
EOPNOTSUPP, EPERM = 95, 1
SETTINGS = (5, 6, 7, 8, 9)  # node-cnt, node-id, to-tmr, burst-cnt, burst-tmr


def attribute(number, value):
    length = 4 + len(value)
    return struct.pack("=HH", length, number) + value + bytes(-length % 4)


def message(kind, sequence, body):
    return struct.pack("=IHHII", 16 + len(body), kind, 0, sequence, 0) + body


def reply(sequence, *attributes):
    return message(FAMILY, sequence, struct.pack("=BBH", 0, 1, 0) + b"".join(attributes))


def error(sequence, number=0):
    return message(2, sequence, struct.pack("=i", -number) + bytes(16))


class PaperKernel:
    """One interface with a PHY; `stubborn` are setting numbers that it does not take.

    `settings` are PLCA's by attribute number, empty where the PHY has none; `link` the state of
    the link by attribute number.
    """

    def __init__(self, *, settings=None, status=1, link=None, stubborn=(), refuses=0):
        self.settings = settings or {}
        self.status, self.stubborn, self.refuses = status, set(stubborn), refuses
        self.link = {2: struct.pack("=B", 1)} if link is None else link
        self.closed = False
        self._waiting = []

    def send(self, octets):
        _, kind, _, sequence, _ = struct.unpack_from("=IHHII", octets)
        command = octets[16]
        self._waiting += self._answer(kind, command, sequence, octets[20:])

    def recv(self, most):
        if not self._waiting:
            raise TimeoutError("timed out")
        return self._waiting.pop(0)

    def close(self):
        self.closed = True

    def _answer(self, kind, command, sequence, body):
        if kind == 16 and command == 3:
            name = attribute(2, b"ethtool\0")
            family = attribute(1, struct.pack("=H", FAMILY))
            return [message(16, sequence, bytes(4) + name + family) + error(sequence)]
        if kind == FAMILY and command == 6:
            told = [attribute(number, value) for number, value in self.link.items()]
            return [reply(sequence, *told), error(sequence)]
        if kind != FAMILY or not self.settings:
            return [error(sequence, EOPNOTSUPP)]
        if command == 40:
            return [error(sequence, self.refuses or self._set(body))]
        if command == 41:
            return [reply(sequence, attribute(4, struct.pack("=B", self.status))), error(sequence)]
        told = [
            attribute(number, struct.pack("=B" if number == 3 else "=I", value))
            for number, value in self.settings.items()
        ]
        return [reply(sequence, *told), error(sequence)]

    def _set(self, body):
        while body:
            length, number = struct.unpack_from("=HH", body)
            if number in (3, *SETTINGS) and number not in self.stubborn:
                self.settings[number] = int.from_bytes(body[4:length], "little")
            body = body[(length + 3) & ~3 :]
        return 0
