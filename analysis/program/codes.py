"""
G and M words sorted into the modal groups of NISTIR 6556, Table 4.

Beyond that table it knows G73, G54.1, G95, G90.1 and G91.1, and M98 and M99, as the trade writes them.

G codes are ten times their number: G59.3 is 593. Two words of one group on a line contradict each
other, and an unknown G word may change where the bit goes: both are refused. An unknown M word is only
noted, unless it is known to jump or to put back modes. G80 beside G0 to G3 is no contradiction: many
programs begin so, and wherever it is taken it ends a cycle, and the other word says how to move.
"""

from analysis.errors import ProgramError
from analysis.program.notes import Notes
from analysis.program.state import NO_MOTION
from analysis.program.words import Block, Word

_GROUPS = {
    "motion": (0, 10, 20, 30, 382, 730, 800, 810, 820, 830, 840, 850, 860, 880, 890),
    "plane": (170, 180, 190),
    "units": (200, 210),
    "compensation": (400,),
    "length": (430, 490),
    "system": (540, 541, 550, 560, 570, 580, 590, 591, 592, 593),
    "path": (610, 611, 640),
    "distance": (900, 910),
    "arc_distance": (901, 911),
    "feed_mode": (930, 940, 950),
    "return_mode": (980, 990),
    "dwell": (40,),
    "axes_used": (100, 280, 300, 920, 921, 922, 923),
    "machine": (530,),
}
GROUP_OF_G = {code: group for group, codes in _GROUPS.items() for code in codes}

GROUP_OF_M = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stop"),
    6: "change",
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((48, 49), "overrides"),
    98: "call",
    99: "call",
}

_MOTIONS = frozenset({0, 10, 20, 30})

COOLANT = frozenset({7, 8, 9})

HARMLESS_G = {
    90: "exact stop: it changes no path",
    150: "polar off",
    500: "scaling off",
    670: "macro off",
    690: "rotation off",
    970: "constant spindle speed",
}

REFUSED_G = {
    410: "the path is shifted by the bit's radius, which the program does not say; write it out with G40",
    420: "the path is shifted by the bit's radius, which the program does not say; write it out with G40",
    870: "back boring needs a spindle that stops at an angle; no router has one",
    700: "some read it as inch, some as a finishing cycle; write G20 for inch",
    710: "some read it as millimetres, some as a roughing cycle; write G21 for millimetres",
}

REFUSED_M = {
    47: "it repeats the program without end; write the repetitions out",
    70: "it puts modes aside; state them where they change",
    71: "it drops modes put aside; state them where they change",
    72: "it brings modes back; state them where they change",
    73: "it puts modes aside and back; state them where they change",
    97: "write the call with M98 and an O number",
}

_LOOK_AHEAD = {50: "P", 51: "Q", 80: "P", 1870: "P"}
"""How smoothly a control drives, where this word and no place stands beside it: else it may be a spline."""

_AS_G20_OR_G21 = {700: 200, 710: 210}

Codes = dict[str, tuple[int, Word]]
"""Per group, the code and the word that said so."""


def sort_codes(block: Block, notes: Notes, units: int) -> Codes:
    """
    Take the G and M words out of a block, sorted by group.

    Parameters
    ----------
    block
        As parsed.
    notes
        Receives what is read over.
    units
        Ten times the number of the G word of the unit in force; 0 while none has been said.

    Returns
    -------
    Codes

    Raises
    ------
    ProgramError
        If two contradict each other, or one is not known and might move the bit.
    """
    codes: Codes = {}
    for word in block.g:
        code = _tenfold(word)
        group = GROUP_OF_G.get(code, "")
        if group:
            _put(codes, group, code, word, block)
        elif code in HARMLESS_G:
            notes.add(f"{word.text} is read over ({HARMLESS_G[code]})", block.number, word.column, word.text)
        elif _is_look_ahead(code, block):
            text = f"{word.text} is read over (look-ahead); the restart program will not state it"
            notes.add(text, block.number, word.column, word.text)
        elif _says_unit_again(code, block, units):
            text = f"{word.text} is read over: the program says with G20 or G21 what it can mean"
            notes.once(text, block.number, word.column, word.text)
        else:
            raise _refusal(block, word, REFUSED_G.get(code, "it may change where the bit goes; write it out"))
    for word in block.m:
        _sort_m(codes, word, block, notes)
    block.g, block.m = [], []
    return codes


def _is_look_ahead(code: int, block: Block) -> bool:
    """Whether a word says only how far ahead, or how smoothly; take out the words that belong to it."""
    letter = _LOOK_AHEAD.get(code, "none")
    if letter not in block.words or not block.words.keys().isdisjoint("XYZIJK"):
        return False
    for own in (letter, "R", "E"):
        block.take(own)
    return True


def _says_unit_again(code: int, block: Block, units: int) -> bool:
    """Whether G70 or G71 only names the unit that holds: no word of a cycle stands beside it."""
    said = next((other for other in map(_tenfold, block.g) if GROUP_OF_G.get(other) == "units"), units)
    return _AS_G20_OR_G21.get(code) == said and block.words.keys().isdisjoint("DPQRUW")


def _sort_m(codes: Codes, word: Word, block: Block, notes: Notes) -> None:
    code = int(word.value) if word.value == int(word.value) else -1
    group = GROUP_OF_M.get(code, "")
    if group:
        _put(codes, group, code, word, block)
    elif code in COOLANT:
        _put(codes, "off" if code == 9 else ("mist", "flood")[code - 7], code, word, block)
    elif code in REFUSED_M:
        raise _refusal(block, word, REFUSED_M[code])
    else:
        text = f"{word.text} is not known here and is read over; the restart program will not state it"
        notes.add(text, block.number, word.column, word.text)


def _put(codes: Codes, group: str, code: int, word: Word, block: Block) -> None:
    known = codes[group][0] if group in codes else code
    if code == NO_MOTION and known in _MOTIONS:
        return
    if known != code and not (known == NO_MOTION and code in _MOTIONS):
        other = codes[group][1].text
        raise block.error(f"{other} and {word.text} on one line contradict each other; keep one", word)
    codes[group] = (code, word)


def _tenfold(word: Word) -> int:
    """Return ten times the number, or -1 if it has more than one decimal."""
    code = round(word.value * 10)
    return code if abs(word.value * 10 - code) < 1e-3 else -1


def _refusal(block: Block, word: Word, why: str) -> ProgramError:
    return block.error(f"{word.text} is not followed: {why}", word)
