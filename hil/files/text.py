"""From bytes to text: UTF-8 only, no control characters, no tabs.

What is refused here would make every later message hard to understand.
"""

import re

from hil.files.mistake import Page

_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x80-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]"
)
_BREAKS = re.compile("\r\n?|\x85|\u2028|\u2029")
_TABS_SHOWN = 20


def read_text(page: Page) -> bool:
    """Fill `page.text`; False where the bytes cannot be read as YAML text at all."""
    try:
        text = page.raw.decode("utf-8")
    except UnicodeDecodeError as error:
        _refuse_encoding(page, error.start)
        return False
    text = _BREAKS.sub("\n", text.removeprefix("\ufeff"))
    strange = _FORBIDDEN.search(text)
    if strange is not None:
        line, column = _place(text, strange.start())
        code = ord(strange.group())
        page.wrong_at(line, column, f"the character U+{code:04X} cannot stand in a text file")
        return False
    page.text = text
    return _replace_tabs(page) if "\t" in text else True


def _refuse_encoding(page: Page, start: int) -> None:
    if page.raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        page.wrong_at(1, 1, "the file is UTF-16, expected UTF-8", "save it as UTF-8")
        return
    line, column = _place(page.raw[:start].decode("utf-8"), start=None)
    what = f"the byte 0x{page.raw[start]:02X} is not UTF-8"
    page.wrong_at(line, column, what, "save the file as UTF-8")


def _place(text: str, start: int | None) -> tuple[int, int]:
    before = text if start is None else text[:start]
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _replace_tabs(page: Page) -> bool:
    """Note every line with a tab, then go on with blanks where the meaning is not in doubt."""
    indented = False
    found = 0
    for number, line in enumerate(page.text.split("\n"), 1):
        column = line.find("\t") + 1
        if not column:
            continue
        found += 1
        leads = not line[:column].strip()
        indented = indented or leads
        if found > _TABS_SHOWN:
            continue
        what = "the line starts with a tab" if leads else "there is a tab in the line"
        page.wrong_at(number, column, what, "use spaces")
    if found > _TABS_SHOWN:
        page.wrong_at(number, 1, f"{found - _TABS_SHOWN} more lines hold tabs")
    page.text = page.text.replace("\t", " ")
    return not indented
