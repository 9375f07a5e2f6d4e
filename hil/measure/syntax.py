"""From text to an expression tree.

    relation  =  sum ( "=" | "!=" | "<" | "<=" | ">" | ">=" ) sum [ "±" sum ]
    sum       =  product { ( "+" | "-" ) product }
    product   =  signed { ( "*" | "/" ) signed }
    signed    =  ( "-" | "+" ) signed  |  power
    power     =  atom [ "^" whole-number ]
    atom      =  number [ unit ]  |  name  |  function "(" sum { "," sum } ")"  |  "(" sum ")"

Functions are those of `FUNCTIONS` and no others.  The tree is plain data; nothing is looked up or
run while it is made.  The limits keep it small: its depth, and its degree (how many factors one
power can multiply to), which bounds the length of any number it can come to.
"""

from decimal import Decimal

from hil.measure.expression import (
    Call,
    Comparison,
    Expression,
    Name,
    Negative,
    Number,
    Operation,
    Power,
    degree,
)
from hil.measure.lexis import ExpressionError, Sort, Token, tokens

DEPTH_LIMIT = 30
DEGREE_LIMIT = 64
EXPONENT_LIMIT = 9
ROUND_LIMIT = 9

FUNCTIONS = {
    "abs": (1, 1),
    "atan2": (2, 2),
    "cos": (1, 1),
    "max": (2, 10),
    "min": (2, 10),
    "round": (1, 2),
    "sin": (1, 1),
    "sqrt": (1, 1),
}
"""Each function with the least and the most arguments it takes."""

_FORMS = {
    "abs": "abs(x)",
    "atan2": "atan2(y, x)",
    "cos": "cos(x)",
    "max": "max(x, y)",
    "min": "min(x, y)",
    "round": "round(x, 1)",
    "sin": "sin(x)",
    "sqrt": "sqrt(x)",
}
_RELATION = "node.signal = another.signal ± 0.5 bar"
_SIGNS = "one of + - * / ^ between them"

COMPARISONS = ("=", "!=", "<", "<=", ">", ">=")


def read_relation(text: str) -> Comparison:
    """Read a relation; raises ExpressionError with the column of the first mistake."""
    return _Parser(text).relation()


def read_expression(text: str) -> Expression:
    """Read an expression without a comparison; raises ExpressionError."""
    return _Parser(text).whole()


class _Parser:
    """Recursive descent over the tokens of one text."""

    def __init__(self, text: str) -> None:
        self._tokens = tokens(text)
        self._place = 0
        self._depth = 0

    def relation(self) -> Comparison:
        left = self._sum()
        token = self._token
        if token.text not in COMPARISONS:
            wanted = "expected one of " + " ".join(COMPARISONS)
            raise ExpressionError(token.column, f"{wanted}, got {_show(token)}", _RELATION)
        self._place += 1
        right = self._sum()
        tolerance = None
        if self._token.text == "±":
            if token.text != "=":
                hint = "without ±, or with ="
                raise ExpressionError(self._token.column, "a tolerance goes with = only", hint)
            self._place += 1
            tolerance = self._sum()
        if self._token.text in COMPARISONS:
            raise ExpressionError(self._token.column, "a second comparison", "two relations")
        self._expect_end()
        return Comparison(left, token.text, right, tolerance, token.column)

    def whole(self) -> Expression:
        found = self._sum()
        self._expect_end()
        return found

    @property
    def _token(self) -> Token:
        return self._tokens[self._place]

    def _expect_end(self) -> None:
        token = self._token
        if token.sort is not Sort.END:
            hint = "a point as decimal sign" if token.text == "," else _SIGNS
            raise ExpressionError(token.column, f"expected an operator, got {_show(token)}", hint)

    def _sum(self) -> Expression:
        self._deeper()
        found = self._product()
        while self._token.text in ("+", "-"):
            sign = self._take()
            found = Operation(sign.text, found, self._product(), sign.column)
        self._depth -= 1
        return found

    def _product(self) -> Expression:
        found = self._signed()
        while self._token.text in ("*", "/"):
            sign = self._take()
            found = Operation(sign.text, found, self._signed(), sign.column)
            _check_degree(found, sign.column)
        return found

    def _signed(self) -> Expression:
        if self._token.text not in ("+", "-"):
            return self._power()
        sign = self._take()
        self._deeper()
        found = self._signed()
        self._depth -= 1
        return Negative(found, sign.column) if sign.text == "-" else found

    def _power(self) -> Expression:
        base = self._atom()
        if self._token.text != "^":
            return base
        sign = self._take()
        found = Power(base, self._whole_number(EXPONENT_LIMIT, "a power"), sign.column)
        if self._token.text == "^":
            raise ExpressionError(self._token.column, "a power of a power", "brackets")
        _check_degree(found, sign.column)
        return found

    def _atom(self) -> Expression:
        token = self._take()
        if token.sort is Sort.NUMBER:
            unit = self._take().text if self._token.sort is Sort.UNIT else ""
            return Number(Decimal(token.text), unit, token.column)
        if token.sort is Sort.NAME:
            return self._call(token) if self._token.text == "(" else _name(token)
        if token.text == "(":
            found = self._sum()
            self._close()
            return found
        what = f"expected a number, a signal or a bracket, got {_show(token)}"
        raise ExpressionError(token.column, what, "node.signal, or 2.4 bar")

    def _call(self, name: Token) -> Expression:
        if name.text not in FUNCTIONS:
            raise ExpressionError(
                name.column, f"no function {name.text}", "one of " + ", ".join(FUNCTIONS)
            )
        least, most = FUNCTIONS[name.text]
        self._place += 1
        arguments, places = [self._sum()], 0
        while self._token.text == ",":
            self._place += 1
            if name.text == "round":
                places = self._whole_number(ROUND_LIMIT, "the number of decimals")
                break
            arguments.append(self._sum())
        self._close()
        if not least <= len(arguments) <= most:
            wanted = str(least) if least == most else f"{least} to {most}"
            plural = "" if wanted == "1" else "s"
            what = f"{name.text} takes {wanted} argument{plural}, got {len(arguments)}"
            raise ExpressionError(name.column, what, _FORMS[name.text])
        return Call(name.text, tuple(arguments), places, name.column)

    def _whole_number(self, limit: int, what: str) -> int:
        negative = self._token.text == "-"
        if negative:
            self._place += 1
        token = self._take()
        plain = token.sort is Sort.NUMBER and token.text.isdecimal()
        if not plain or self._token.sort is Sort.UNIT or int(token.text) > limit:
            wanted = f"{what} is a whole number from -{limit} to {limit}"
            hint = "sqrt(…)" if what == "a power" and token.text == "0.5" else "2"
            raise ExpressionError(token.column, f"{wanted}, got {_show(token)}", hint)
        return -int(token.text) if negative else int(token.text)

    def _close(self) -> None:
        token = self._take()
        if token.text != ")":
            raise ExpressionError(token.column, f"expected ), got {_show(token)}", "a bracket more")

    def _take(self) -> Token:
        token = self._token
        if token.sort is not Sort.END:
            self._place += 1
        return token

    def _deeper(self) -> None:
        self._depth += 1
        if self._depth > DEPTH_LIMIT:
            what = f"nested deeper than {DEPTH_LIMIT}"
            raise ExpressionError(self._token.column, what, "fewer brackets")


def _name(token: Token) -> Name:
    if "." not in token.text:
        hint = f"node.{token.text}"
        raise ExpressionError(token.column, f"{token.text} is not a signal", hint)
    return Name(token.text, token.column)


def _check_degree(tree: Expression, column: int) -> None:
    if degree(tree) > DEGREE_LIMIT:
        what = f"a product of more than {DEGREE_LIMIT} factors"
        raise ExpressionError(column, what, "a smaller power")


def _show(token: Token) -> str:
    return token.sort.value if token.sort is Sort.END else repr(token.text)
