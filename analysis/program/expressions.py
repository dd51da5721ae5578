"""
Formulas in a program: numbers, parameters, brackets (NISTIR 6556, section 3.3.2).

Operators bind in three steps: ``**`` first, then ``* / MOD``, then ``+ - AND OR XOR``; equals bind from
the left. Angles are in degrees.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.errors import ProgramError

_NUMBER = re.compile(r"[-+]?[ \t]*(?:[0-9][0-9 \t]*(?:\.[0-9 \t]*)?|\.[ \t]*[0-9][0-9 \t]*)")
_OPERATOR = re.compile(
    r"\*[ \t]*\*|[-+*/]|M[ \t]*O[ \t]*D|A[ \t]*N[ \t]*D|X[ \t]*O[ \t]*R|O[ \t]*R", re.IGNORECASE
)
_NAME = re.compile(r"[A-Za-z]+")
_DEEPEST = 50

_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda x: math.degrees(math.acos(x)),
    "ASIN": lambda x: math.degrees(math.asin(x)),
    "COS": lambda x: math.cos(math.radians(x)),
    "EXP": math.exp,
    "FIX": math.floor,
    "FUP": math.ceil,
    "LN": math.log,
    "ROUND": lambda x: math.floor(x + 0.5) if x >= 0 else math.ceil(x - 0.5),
    "SIN": lambda x: math.sin(math.radians(x)),
    "SQRT": math.sqrt,
    "TAN": lambda x: math.tan(math.radians(x)),
}

_OPERATIONS: dict[str, tuple[int, Callable[[float, float], float]]] = {
    "**": (3, math.pow),
    "*": (2, lambda a, b: a * b),
    "/": (2, lambda a, b: a / b),
    "MOD": (2, lambda a, b: a % abs(b)),
    "+": (1, lambda a, b: a + b),
    "-": (1, lambda a, b: a - b),
    "AND": (1, lambda a, b: float(bool(a) and bool(b))),
    "OR": (1, lambda a, b: float(bool(a) or bool(b))),
    "XOR": (1, lambda a, b: float(bool(a) != bool(b))),
}


def evaluate(line: str, at: int, parameters: Mapping[int, float], number: int) -> tuple[float, int]:
    """
    Read one value: a number, a parameter, a bracketed formula or a function of one.

    Parameters
    ----------
    line
        The whole line.
    at
        Where the value begins, counted from 0.
    parameters
        Values of the parameters.
    number
        File line, for the error.

    Returns
    -------
    tuple of float and int
        The value, and where it ends.

    Raises
    ------
    ProgramError
        If it is none, is not closed, reads a parameter that was never set, or has no finite value.

    Examples
    --------
    >>> evaluate("[1 + 2 * 3 - 4 / 5]", 0, {}, 1)
    (6.2, 19)
    """
    reader = _Reader(line, at, parameters, number)
    try:
        value = reader.value(0)
    except (ValueError, OverflowError, ZeroDivisionError) as error:
        raise reader.fault(f"has no value ({error})", at) from None
    if not math.isfinite(value):
        raise reader.fault("has no finite value", at)
    return value, reader.at


@dataclass
class _Reader:
    """A place in a line, moving to the right."""

    line: str
    at: int
    parameters: Mapping[int, float]
    number: int

    def fault(self, what: str, begin: int) -> ProgramError:
        written = self.line[begin : max(self.at, begin + 1)].strip() or self.line[begin:].strip()
        message = f"{written or 'the end of the line'}: the formula {what}; correct it"
        return ProgramError(message, line=self.number, column=begin + 1, word=written)

    def value(self, depth: int) -> float:
        self._blank()
        begin = self.at
        if depth > _DEEPEST:
            raise self.fault("has too many brackets", begin)
        number = _NUMBER.match(self.line, self.at)
        if number:
            self.at = number.end()
            return float("".join(number[0].split()))
        sign = self._next()
        if sign in "+-" and sign:
            self.at += 1
            return -self.value(depth + 1) if sign == "-" else self.value(depth + 1)
        if sign == "#":
            self.at += 1
            return self._parameter(self.value(depth + 1), begin)
        if sign == "[":
            return self._bracket(depth)
        return self._function(depth, begin)

    def _bracket(self, depth: int) -> float:
        begin = self.at
        self.at += 1
        terms: list[float] = [self.value(depth + 1)]
        waiting: list[str] = []
        while (operator := self._operator()) is not None:
            while waiting and _OPERATIONS[waiting[-1]][0] >= _OPERATIONS[operator][0]:
                _apply(terms, waiting.pop())
            waiting.append(operator)
            terms.append(self.value(depth + 1))
        while waiting:
            _apply(terms, waiting.pop())
        if self._next() != "]":
            raise self.fault("is not closed with ]", begin)
        self.at += 1
        return terms[0]

    def _function(self, depth: int, begin: int) -> float:
        name = _NAME.match(self.line, self.at)
        called = name[0].upper() if name else ""
        self.at += len(called)
        if called == "ATAN":
            return self._arctangent(depth, begin)
        if called not in _FUNCTIONS or self._next() != "[":
            raise self.fault("is not understood", begin)
        return float(_FUNCTIONS[called](self._bracket(depth + 1)))

    def _arctangent(self, depth: int, begin: int) -> float:
        """Read ``ATAN[y]/[x]``."""
        if self._next() != "[":
            raise self.fault("is not understood", begin)
        rise = self._bracket(depth + 1)
        slash = self._next()
        self.at += 1
        if slash != "/" or self._next() != "[":
            raise self.fault("needs two values, ATAN[y]/[x]", begin)
        return math.degrees(math.atan2(rise, self._bracket(depth + 1)))

    def _parameter(self, index: float, begin: int) -> float:
        if index != int(index) or int(index) not in self.parameters:
            raise self.fault("reads a parameter that this program has not set", begin)
        return self.parameters[int(index)]

    def _operator(self) -> str | None:
        self._blank()
        found = _OPERATOR.match(self.line, self.at)
        if not found:
            return None
        self.at = found.end()
        return "".join(found[0].split()).upper()

    def _blank(self) -> None:
        while self.at < len(self.line) and self.line[self.at] in " \t":
            self.at += 1

    def _next(self) -> str:
        self._blank()
        return self.line[self.at] if self.at < len(self.line) else ""


def _apply(terms: list[float], operator: str) -> None:
    right = terms.pop()
    terms[-1] = float(_OPERATIONS[operator][1](terms[-1], right))
