"""Block letters, to be read from two metres."""

_HEIGHT, _WIDTH = 5, 5

# Each letter row by row, a bit for each dot, the left one highest.
_DOTS = {
    "A": (0b01110, 0b10001, 0b11111, 0b10001, 0b10001),
    "D": (0b11110, 0b10001, 0b10001, 0b10001, 0b11110),
    "E": (0b11111, 0b10000, 0b11110, 0b10000, 0b11111),
    "F": (0b11111, 0b10000, 0b11110, 0b10000, 0b10000),
    "I": (0b11111, 0b00100, 0b00100, 0b00100, 0b11111),
    "L": (0b10000, 0b10000, 0b10000, 0b10000, 0b11111),
    "M": (0b10001, 0b11011, 0b10101, 0b10001, 0b10001),
    "N": (0b10001, 0b11001, 0b10101, 0b10011, 0b10001),
    "R": (0b11110, 0b10001, 0b11110, 0b10010, 0b10001),
    "S": (0b01111, 0b10000, 0b01110, 0b00001, 0b11110),
    "T": (0b11111, 0b00100, 0b00100, 0b00100, 0b00100),
    "U": (0b10001, 0b10001, 0b10001, 0b10001, 0b01110),
    "Y": (0b10001, 0b01010, 0b00100, 0b00100, 0b00100),
}


def block_letters(word: str, scale: int, dot: str) -> list[str]:
    """
    Return ``word`` as rows of text.

    Parameters
    ----------
    word
        Capital letters, of those that the names of states need.
    scale
        Columns to a dot. A character is twice as high as wide, so that half as many rows make it square.
    dot
        What a dot is drawn with.
    """
    rows = []
    for row in range(_HEIGHT):
        dots = (f"{_DOTS[letter][row]:0{_WIDTH}b}" for letter in word)
        line = "0".join(dots).replace("0", " " * scale).replace("1", dot * scale)
        rows += [line.rstrip()] * _rows(scale)
    return rows


def width_of(word: str, scale: int) -> int:
    """Return how many columns ``word`` takes."""
    return scale * (len(word) * (_WIDTH + 1) - 1)


def _rows(scale: int) -> int:
    return (scale + 1) // 2
