"""The shape of `console` under a node of a bench file: the serial line and what is said on it."""

import re

from hil.files.leaf import DOTTED_PATTERN, DURATION, FLAG, TITLE, WHOLE, words
from hil.files.mistake import Misread, show
from hil.files.scalar import read_dotted
from hil.files.shape import Either, Key, Leaf, Many, Names, Record
from hil.wire.console.pattern import read_pattern
from hil.wire.console.pattern_text import PatternError

_FRAME = re.compile(r"[5-8][NEOMS](?:1|1\.5|2)")
_NUMBERED = re.compile(r"/dev/tty(?:USB|ACM)\d+|COM\d+", re.IGNORECASE)
_LOCATION = re.compile(r"\d+-\d+(?:\.\d+)*")

ENDINGS = {"lf": b"\n", "cr": b"\r", "crlf": b"\r\n"}


def _pattern(text: str) -> re.Pattern[str]:
    try:
        return read_pattern(text)
    except PatternError as error:
        raise Misread(f"the pattern {show(text)} {error}") from error


def _device(text: str) -> str:
    if _NUMBERED.fullmatch(text) is not None:
        what = f"{show(text)} has a number that another adapter may get after the next reset"
        raise Misread(what, "/dev/serial/by-id/... or /dev/serial/by-path/..., or `usb:`")
    if re.fullmatch(r"/[\x21-\x7e]+", text) is None:
        raise Misread(f"{show(text)} is no device", "/dev/serial/by-id/...")
    return text


def _frame(text: str) -> str:
    if _FRAME.fullmatch(text) is None:
        what = f"expected bits, parity and stop bits such as `8N1`, got {show(text)}"
        raise Misread(what, "8N1, 7E1 or 8N2")
    return text


def _location(text: str) -> str:
    if _LOCATION.fullmatch(text) is None:
        raise Misread(f"{show(text)} is no place on the USB", "1-1.4, as in /sys/bus/usb/devices")
    return text


PATTERN: Leaf["re.Pattern[str]"] = Leaf(
    "a pattern such as `ok.*`", _pattern, {"type": ["string", "number", "boolean"]}
)
SAID: Leaf[str] = TITLE
DEVICE: Leaf[str] = Leaf("a device", _device, {"type": "string", "pattern": "^/[!-~]+$"})
FRAME: Leaf[str] = Leaf(
    "bits, parity and stop bits such as `8N1`",
    _frame,
    {"type": "string", "pattern": "^[5-8][NEOMS](1|1[.]5|2)$"},
)
LOCATION: Leaf[str] = Leaf(
    "a place on the USB such as `1-1.4`",
    _location,
    {"type": "string", "pattern": "^[0-9]+-[0-9]+([.][0-9]+)*$"},
)
ENDING = words(*ENDINGS)

USB = Record(
    "an adapter on the USB",
    {
        "vendor": Key(WHOLE, "its vendor number, such as `0x1a86`", True),
        "product": Key(WHOLE, "its product number", True),
        "serial": Key(TITLE, "its serial number, where adapters have one of their own"),
        "interface": Key(WHOLE, "which of its ports, where it has several"),
        "location": Key(LOCATION, "the socket it is in, where nothing else tells equal ones apart"),
    },
)
CONTROL_LINES = Record(
    "control lines",
    {
        "dtr": Key(FLAG, "whether data terminal ready is set at opening"),
        "rts": Key(FLAG, "whether request to send is set at opening"),
    },
)
IDENTIFY = Record(
    "a question",
    {
        "send": Key(SAID, "what is sent to find out", True),
        "answer": Key(PATTERN, "the answer, with the groups `serial` or `firmware`", True),
    },
)
READ = Record(
    "a question",
    {
        "send": Key(SAID, "what is sent to get a reading", True),
        "answer": Key(PATTERN, "the line that ends the answer (the first line that is a reading)"),
        "every": Key(DURATION, "how often the tool asks", True),
    },
)
COMMAND = Record(
    "a command",
    {
        "send": Key(SAID, "what is sent, with `{value}` or `{raw}` in it", True),
        "accept": Key(PATTERN, "the answer that it is done; the group `value` tells the value"),
        "refuse": Key(PATTERN, "the answer that it is not; the group `why` tells the reason"),
    },
)
COMMANDS = Names("commands by signal", Either((SAID, COMMAND)), read_dotted, DOTTED_PATTERN)
READINGS = Many("a list of patterns", PATTERN)
CONSOLE = Record(
    "a console",
    {
        "device": Key(DEVICE, "its device by a name that stays, such as `/dev/serial/by-id/...`"),
        "usb": Key(USB, "its adapter by its identity on the USB"),
        "rate": Key(WHOLE, "bit/s, such as 115200", True),
        "frame": Key(FRAME, "bits, parity and stop bits of a character (8N1)"),
        "control-lines": Key(CONTROL_LINES, "what is set before anything is said"),
        "opening-resets": Key(FLAG, "whether opening the port restarts the node (no)"),
        "boot": Key(PATTERN, "the line it prints when it has booted; it may tell who it is"),
        "boot-within": Key(DURATION, "how long that takes at most after the opening (5 s)"),
        "prompt": Key(PATTERN, "what stands there without a line end while it waits for a command"),
        "line-end": Key(ENDING, "how the lines end that are sent to it (lf)"),
        "longest-line": Key(WHOLE, "octets of the longest line it prints, 80 to 1024 (512)"),
        "echo": Key(FLAG, "whether it may repeat what is sent (yes)"),
        "identify": Key(IDENTIFY, "how to find out who is there; before that nothing is said"),
        "read": Key(READ, "how to ask for a reading"),
        "readings": Key(READINGS, "lines that carry values; each group is a signal"),
        "accept": Key(PATTERN, "the answer to any command that says nothing else"),
        "refuse": Key(PATTERN, "likewise for a refusal"),
        "commands": Key(COMMANDS, "what drives which signal"),
    },
    choices=(("device", "usb"),),
    goes_with={
        "opening-resets": ("boot",),
        "boot-within": ("opening-resets",),
        "read": ("readings",),
    },
)

SPEAKING = ("identify", "read", "readings", "accept", "refuse", "commands")
"""Keys of a console that is more than listened to."""
