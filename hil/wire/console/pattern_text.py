"""The text of a pattern, read into its parts: the regular expressions that are understood here.

    literal   .   [set]   \\d \\D \\w \\W \\s \\S   \\. and the like   ( )   (?: )   (?P<name> )   |
    ? * + {m} {m,} {m,n}, greedy or lazy   ^ $ \\b

What is beyond that is refused; what the parts amount to is decided in hil.wire.console.pattern.
"""

import re
from dataclasses import dataclass, field

from hil.core.error import HilError

_OTHER = 128  # stands for every character beyond ASCII
_ALL = frozenset(range(_OTHER + 1))
_DIGIT = frozenset(map(ord, "0123456789"))
_WORD = _DIGIT | frozenset(code for code in range(128) if chr(code).isalpha()) | {ord("_")}
_SPACE = frozenset(map(ord, " \t\n\r\f\v"))
_CLASSES = {
    "d": _DIGIT,
    "D": _ALL - _DIGIT,
    "w": _WORD,
    "W": _ALL - _WORD,
    "s": _SPACE,
    "S": _ALL - _SPACE,
}
_CONTROLS = {"t": "\t", "n": "\n", "r": "\r", "f": "\f", "v": "\v", "a": "\a"}
_COUNT = re.compile(r"\{(\d{1,4})(?:(,)(\d{1,4})?)?\}")
_NAME = re.compile(r"\?P<([A-Za-z_][A-Za-z0-9_]*)>")

Set = frozenset[int]


class PatternError(HilError, ValueError):
    """A pattern is no regular expression of the kind that is understood here; says why."""


@dataclass(slots=True)
class Chars:
    """One character out of a set; `only` is the character where there is just one."""

    chars: Set
    only: str = ""


@dataclass(slots=True)
class Choice:
    """A group: one of its sequences."""

    options: "list[list[Part]]"


@dataclass(slots=True)
class Repeat:
    """A part several times; `most` is None for any number."""

    part: "Chars | Choice"
    least: int
    most: int | None


@dataclass(slots=True)
class Edge:
    """A place, not a character: `^`, `$`, `\\b`."""


Part = Chars | Choice | Repeat | Edge


@dataclass(slots=True)
class PatternReader:
    """Reads the text of a pattern, left to right."""

    text: str
    at: int = 0
    names: set[str] = field(default_factory=set)

    def read(self) -> Choice:
        tree = self._choice(0)
        if self.at < len(self.text):
            raise PatternError("has a `)` without its `(`")
        return tree

    def _peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def _take(self) -> str:
        letter = self._peek()
        if not letter:
            raise PatternError("ends too early")
        self.at += 1
        return letter

    def _choice(self, depth: int) -> Choice:
        if depth > 20:
            raise PatternError("has groups within groups beyond all measure")
        options: list[list[Part]] = [[]]
        while (letter := self._peek()) not in ("", ")"):
            if letter == "|":
                self.at += 1
                options.append([])
                continue
            options[-1].append(self._repeated(self._part(depth)))
        return Choice(options)

    def _part(self, depth: int) -> Part:
        letter = self._take()
        if letter == "(":
            self._group_head()
            inner = self._choice(depth + 1)
            if self._peek() != ")":
                raise PatternError("has a `(` without its `)`")
            self.at += 1
            return inner
        if letter == "[":
            return Chars(self._set())
        if letter in "^$":
            return Edge()
        if letter == ".":
            return Chars(_ALL - {ord("\n")})
        if letter == "\\":
            return self._escaped()
        if letter in "*+?":
            raise PatternError(f"has a `{letter}` with nothing to repeat")
        return Chars(frozenset({_code(letter)}), letter)

    def _group_head(self) -> None:
        if self._peek() != "?":
            return
        named = _NAME.match(self.text, self.at)
        if named is not None:
            if named[1] in self.names:
                raise PatternError(f"has two groups called `{named[1]}`")
            self.names.add(named[1])
            self.at = named.end()
        elif self.text.startswith("?:", self.at):
            self.at += 2
        else:
            shown = self.text[self.at - 1 : self.at + 3]
            raise PatternError(f"has `{shown}`; groups are `( )`, `(?: )` and `(?P<name> )`")

    def _escaped(self) -> Part:
        letter = self._take()
        if letter == "b":
            return Edge()
        if letter in _CLASSES:
            return Chars(_CLASSES[letter])
        plain = self._plain_escape(letter)
        return Chars(frozenset({_code(plain)}), plain)

    def _plain_escape(self, letter: str) -> str:
        if letter == "x":
            digits = self.text[self.at : self.at + 2]
            if re.fullmatch("[0-9A-Fa-f]{2}", digits) is None:
                raise PatternError("has a `\\x` without two hexadecimal digits")
            self.at += 2
            return chr(int(digits, 16))
        if letter in _CONTROLS:
            return _CONTROLS[letter]
        if letter.isascii() and letter.isalnum():
            raise PatternError(f"has `\\{letter}`, which is not known here")
        return letter

    def _set(self) -> Set:
        negated = self._peek() == "^"
        self.at += negated
        chars: set[int] = set()
        first = True
        while first or self._peek() != "]":
            first = False
            low = self._member()
            if isinstance(low, frozenset):
                chars |= low
                continue
            if self._peek() == "-" and self.text[self.at + 1 : self.at + 2] not in ("]", ""):
                self.at += 1
                high = self._member()
                if isinstance(high, frozenset) or ord(high) < ord(low):
                    raise PatternError("has a range in `[ ]` that goes backwards")
                chars |= set(range(_code(low), _code(high) + 1))
            else:
                chars.add(_code(low))
        self.at += 1
        return _ALL - chars if negated else frozenset(chars)

    def _member(self) -> str | Set:
        letter = self._take()
        if letter != "\\":
            return letter
        letter = self._take()
        return _CLASSES[letter] if letter in _CLASSES else self._plain_escape(letter)

    def _repeated(self, part: Part) -> Part:
        letter = self._peek()
        bounds = {"?": (0, 1), "*": (0, None), "+": (1, None)}.get(letter)
        if bounds is not None:
            self.at += 1
        elif letter == "{" and (count := _COUNT.match(self.text, self.at)):
            self.at = count.end()
            least = int(count[1])
            most = int(count[3]) if count[3] else None if count[2] else least
            bounds = (least, most)
        else:
            return part
        if self._peek() == "?":
            self.at += 1
        elif self._peek() in ("*", "+", "{"):
            raise PatternError("repeats a repetition")
        if isinstance(part, (Edge, Repeat)):
            raise PatternError("repeats what is no character")
        return Repeat(part, *bounds)


def _code(letter: str) -> int:
    return min(ord(letter), _OTHER)
