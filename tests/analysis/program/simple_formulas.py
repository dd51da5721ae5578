"""Formulas for the second machine, worked out rank by rank; nothing is shared with the reader."""

import math
import re

NUMBER = re.compile(r"\d+\.?\d*|\.\d+")
NAME = re.compile(r"ATAN|ABS|ACOS|ASIN|COS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN")
SIGN = re.compile(r"\*\*|\*|/|MOD|\+|-|AND|XOR|OR")


def value(text: str, at: int, parameters: dict[int, float]) -> tuple[float, int]:
    """Return the value that begins at a place of a text without blanks, and where it ends."""
    if text[at] in "+-":
        inner, end = value(text, at + 1, parameters)
        return (-inner if text[at] == "-" else inner), end
    if text[at] == "#":
        index, end = value(text, at + 1, parameters)
        return parameters[int(index)], end
    if text[at] == "[":
        return brackets(text, at, parameters)
    number = NUMBER.match(text, at)
    if number:
        return float(number[0]), number.end()
    name = NAME.match(text, at)
    inner, end = brackets(text, name.end(), parameters)
    if name[0] == "ATAN":
        other, end = brackets(text, end + 1, parameters)
        return math.degrees(math.atan2(inner, other)), end
    return function(name[0], inner), end


def function(name: str, x: float) -> float:
    """Return a function's value; angles in degrees."""
    if name in ("SIN", "COS", "TAN"):
        return getattr(math, name.lower())(x * math.pi / 180)
    if name in ("ASIN", "ACOS"):
        return getattr(math, name.lower())(x) * 180 / math.pi
    if name == "ROUND":
        return math.copysign(math.floor(abs(x) + 0.5), x)
    plain = {
        "ABS": abs,
        "EXP": math.exp,
        "FIX": math.floor,
        "FUP": math.ceil,
        "LN": math.log,
        "SQRT": math.sqrt,
    }
    return float(plain[name](x))


def brackets(text: str, at: int, parameters: dict[int, float]) -> tuple[float, int]:
    """Return the value of what stands in brackets: powers first, then products, then sums."""
    first, at = value(text, at + 1, parameters)
    terms, signs = [first], []
    while text[at] != "]":
        sign = SIGN.match(text, at)
        signs.append(sign[0])
        term, at = value(text, sign.end(), parameters)
        terms.append(term)
    for rank in (("**",), ("*", "/", "MOD"), ("+", "-", "AND", "OR", "XOR")):
        i = 0
        while i < len(signs):
            if signs[i] in rank:
                terms[i : i + 2] = [combined(terms[i], signs.pop(i), terms[i + 1])]
            else:
                i += 1
    return terms[0], at + 1


def combined(a: float, sign: str, b: float) -> float:
    """Return what one operation makes of two numbers."""
    if sign in ("AND", "OR", "XOR"):
        truth = bool(a), bool(b)
        return float(all(truth) if sign == "AND" else any(truth) if sign == "OR" else sum(truth) == 1)
    return {
        "**": lambda: a**b,
        "*": lambda: a * b,
        "/": lambda: a / b,
        "MOD": lambda: a - abs(b) * math.floor(a / abs(b)),
        "+": lambda: a + b,
        "-": lambda: a - b,
    }[sign]()
