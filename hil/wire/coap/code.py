"""Codes: what a message asks for, or how a request ended (RFC 7252 §12.1).

A code is one octet, class.detail: three bits and five.  Class 0 are requests, 2 is success,
4 the client's mistake, 5 the server's.
"""

from enum import IntEnum


class Code(IntEnum):
    """The codes of RFC 7252 §12.1, RFC 7959 §6 and RFC 8132 §6.  Others may arrive; they are ints."""

    EMPTY = 0
    GET = 1
    POST = 2
    PUT = 3
    DELETE = 4
    FETCH = 5
    PATCH = 6
    IPATCH = 7
    CREATED = 0x41
    DELETED = 0x42
    VALID = 0x43
    CHANGED = 0x44
    CONTENT = 0x45
    CONTINUE = 0x5F
    BAD_REQUEST = 0x80
    UNAUTHORIZED = 0x81
    BAD_OPTION = 0x82
    FORBIDDEN = 0x83
    NOT_FOUND = 0x84
    METHOD_NOT_ALLOWED = 0x85
    NOT_ACCEPTABLE = 0x86
    REQUEST_ENTITY_INCOMPLETE = 0x88
    CONFLICT = 0x89
    PRECONDITION_FAILED = 0x8C
    REQUEST_ENTITY_TOO_LARGE = 0x8D
    UNSUPPORTED_CONTENT_FORMAT = 0x8F
    UNPROCESSABLE_ENTITY = 0x96
    TOO_MANY_REQUESTS = 0x9D
    INTERNAL_SERVER_ERROR = 0xA0
    NOT_IMPLEMENTED = 0xA1
    BAD_GATEWAY = 0xA2
    SERVICE_UNAVAILABLE = 0xA3
    GATEWAY_TIMEOUT = 0xA4
    PROXYING_NOT_SUPPORTED = 0xA5


METHODS = {code.name: code for code in Code if code is not Code.EMPTY and code < Code.CREATED}
"""The methods by the names they go by."""

_NAMES = {
    int(code): code.name.capitalize().replace("_", " ").title() for code in Code if code > 0x40
}
_NAMES[int(Code.UNSUPPORTED_CONTENT_FORMAT)] = "Unsupported Content-Format"
_NAMES |= {int(code): name for name, code in METHODS.items()}


def dotted(code: int) -> str:
    """Render a code as class.detail: `2.05`."""
    return f"{code >> 5}.{code & 0x1F:02d}"


def code_name(code: int) -> str:
    """Render a code for people: `2.05 Content`, `0.01 GET`; an unknown one by its number alone."""
    name = "Empty" if code == Code.EMPTY else _NAMES.get(code, "")
    return f"{dotted(code)} {name}".rstrip()


def is_request(code: int) -> bool:
    """Return whether a code is a method (class 0, not 0.00)."""
    return 0 < code < 0x20


def is_success(code: int) -> bool:
    """Return whether a code is of class 2."""
    return code >> 5 == 2
