"""Numbers of things in words, so that one case is not "1 cases"."""


def counted(number: int, word: str, plural: str = "") -> str:
    """Return a number with its noun; the plural is the noun with an s unless it is given.

    >>> counted(1, "case"), counted(2, "case"), counted(0, "reply", "replies")
    ('1 case', '2 cases', '0 replies')
    """
    return f"{number} {word if number == 1 else plural or word + 's'}"
