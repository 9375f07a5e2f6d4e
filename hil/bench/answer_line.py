"""One line of typing, from octets to an answer.

A letter alone is no answer: Enter confirms it.  A glove that touches a key, or a key that sticks,
so does nothing by itself, `yyy` is `y`, and what is no answer is said to be none.

    y yes done      yes, done
    n no            no, not done
    t ?             can't tell
"""

from dataclasses import dataclass, field

from hil.core.errand import Reply

LONGEST = 40

_WORDS = {
    **dict.fromkeys(("y", "yes", "d", "done"), Reply.YES),
    **dict.fromkeys(("n", "no"), Reply.NO),
    **dict.fromkeys(("t", "?", "can't tell", "cannot tell"), Reply.UNSURE),
}
_ENTER, _ERASE, _ERASE_ALL, _ESCAPE = b"\r\n", b"\x7f\x08", 0x15, 0x1B


@dataclass(slots=True)
class AnswerLine:
    """What has been typed so far; `odd` is the last line that was no answer."""

    text: str = ""
    odd: str = ""
    _escaped: bytes = field(default=b"")

    def press(self, octets: bytes) -> Reply | None:
        """Take in keys; return the answer that they confirm, and drop what follows it."""
        for octet in octets:
            if self._escaped:
                self._escape(octet)
            elif octet in _ENTER:
                reply = self._confirm()
                if reply is not None:
                    return reply
            elif octet == _ESCAPE:
                self._escaped = b"\x1b"
            elif octet in _ERASE:
                self.text = self.text[:-1]
            elif octet == _ERASE_ALL:
                self.text = ""
            elif 0x20 <= octet < 0x7F and len(self.text) < LONGEST:
                self.text += chr(octet)
        return None

    def _confirm(self) -> Reply | None:
        typed, self.text = " ".join(self.text.split()), ""
        word = typed.casefold()
        if word and set(word) == {word[0]}:
            word = word[0]
        reply = _WORDS.get(word)
        if reply is None and typed:
            self.odd = typed
        return reply

    def _escape(self, octet: int) -> None:
        """Pass over the octets of an arrow or function key (ECMA-48 5.4)."""
        begun = self._escaped
        self._escaped = begun + bytes((octet,))
        if begun == b"\x1b" and octet in b"[O":
            return
        if begun == b"\x1b" or 0x40 <= octet <= 0x7E or len(begun) > LONGEST:
            self._escaped = b""
