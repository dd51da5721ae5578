"""Formulas and parameters (NISTIR 6556, section 3.3.2)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import ProgramError
from analysis.program import read
from analysis.program.expressions import evaluate

PARAMETERS = {1: 2.0, 2: 3.0, 3: 1.0, 10: 0.5}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("[1 + acos[0] - [#3 ** [4.0/2]]]", 90.0),  # NISTIR 6556, 3.3.2, with #3 = 1; from memory
        ("[2.0 / 3 * 1.5 - 5.5 / 11.0]", 0.5),  # NISTIR 6556, 3.3.2: grouped from the left; from memory
        ("[2 * 3 ** 2]", 18.0),
        ("[2 ** 3 ** 2]", 64.0),
        ("[10 - 4 - 3]", 3.0),
        ("[7 MOD 4]", 3.0),
        ("[1 AND 0]", 0.0),
        ("[1 OR 0]", 1.0),
        ("[1 XOR 1]", 0.0),
        ("[1+2*3]", 7.0),
        ("[ 1 - - 1 ]", 2.0),
        ("-#1", -2.0),
        ("##1", 3.0),
        ("#[1+1]", 3.0),
        ("abs[-1.5]", 1.5),
        ("ASIN[1]", 90.0),
        ("ATAN[1]/[-1]", 135.0),
        ("COS[60]", 0.5),
        ("EXP[0]", 1.0),
        ("FIX[-2.8]", -3.0),  # NISTIR 6556, 3.3.2: FIX rounds left, FUP right; from memory
        ("FUP[-2.8]", -2.0),
        ("LN[1]", 0.0),
        ("ROUND[2.5]", 3.0),
        ("ROUND[-2.5]", -3.0),
        ("SIN[30]", 0.5),
        ("SQRT[9]", 3.0),
        ("TAN[45]", 1.0),
    ],
)
def test_formulas_have_the_value_that_the_standard_gives(text: str, value: float):
    """Precedence, grouping from the left, functions in degrees."""
    found, end = evaluate(text, 0, PARAMETERS, 1)
    assert math.isclose(found, value, abs_tol=1e-12)
    assert end == len(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        *(("[1 + 2]", 3), ("[1 - 2]", -1), ("[1 - -3]", 4), ("[2/5]", 0.4), ("[3.0 * 5]", 15)),
        *(("[0 OR 0]", 0), ("[0 OR 1]", 1), ("[2 OR 2]", 1)),
        *(("[0 AND 0]", 0), ("[0 AND 1]", 0), ("[2 AND 2]", 1)),
        *(("[0 XOR 0]", 0), ("[0 XOR 1]", 1), ("[2 XOR 2]", 0)),
        *(("[15 MOD 4.0]", 3), ("[-15 MOD 4]", 1), ("[15 MOD -4]", 3), ("[1 + 2 * 3 - 4 / 5]", 6.2)),
        *(
            ("SIN[30]", 0.5),
            ("COS[0.0]", 1),
            ("TAN[60.0]", math.sqrt(3)),
            ("ACOS[0.5]", 60),
            ("ASIN[0.5]", 30),
        ),
        *(("ATAN[1.7321]/[1.0]", math.degrees(math.atan(1.7321))), ("ATAN[-1]/[-1]", -135)),
        *(("EXP[2.3026]", math.exp(2.3026)), ("LN[10.0]", math.log(10)), ("SQRT[3]", math.sqrt(3))),
        *(("[2.0 ** 3.0]", 8), ("[2 ** 3.0]", 8), ("ABS[20]", 20), ("ABS[-1.23]", 1.23)),
        *(("ROUND[-0.499]", 0), ("ROUND[-0.5001]", -1), ("ROUND[2.444]", 2), ("ROUND[9.975]", 10)),
        *(("FIX[-0.499]", -1), ("FIX[-0.5001]", -1), ("FIX[2.444]", 2), ("FIX[9.975]", 9)),
        *(("FUP[-0.499]", 0), ("FUP[-0.5001]", 0), ("FUP[2.444]", 3), ("FUP[9.975]", 10)),
        *(("[2 ** 3 - 4]", 4), ("[2 + 3 * 4 ** 2]", 50), ("[[2 + 3] * 4]", 20), ("[8 / 4 / 2]", 1)),
    ],
)
def test_every_operation_has_its_value(text: str, value: float):
    """Each operation and function once, as NISTIR 6556, Appendix C.2 tries them (chosen from memory)."""
    found, _ = evaluate(text, 0, {}, 1)
    assert math.isclose(found, value, abs_tol=1e-12)
    assert math.isclose(read(f"G21 G90 G0 X999\nX{text}").moves.end[-1, 0], value, abs_tol=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("[1 + 1 AND 0]", 0),
        ("[1 OR 1 - 1]", 0),
        ("[6 MOD 4 * 3]", 6),
        ("[3 * 6 MOD 4]", 2),
        ("[2 * 2 ** 3]", 16),
    ],
)
def test_operations_of_one_rank_bind_from_the_left(text: str, value: float):
    """NISTIR 6556, 3.3.2.3: power; then times, divide, modulo; then plus, minus and the logical ones."""
    assert evaluate(text, 0, {}, 1)[0] == value


@pytest.mark.parametrize(
    "text",
    [
        *(
            "[1",
            "[1+]",
            "[]",
            "#9",
            "#1.5",
            "SIN 30",
            "NO[1]",
            "SQRT[-1]",
            "LN[0]",
            "[1/0]",
            "[1 MOD 0]",
            "ACOS[2]",
        ),
        *("ATAN[1]", "ATAN[1]/", "ATAN 1", "[10**999]", "[0**-1]", "[[-1]**0.5]", "EXP[999]", "", "TAN["),
        *("[" * 60 + "1", "#" * 60 + "1"),
    ],
)
def test_formulas_without_a_value_are_errors_with_their_place(text: str):
    """Whatever can't be worked out is refused where it begins."""
    with pytest.raises(ProgramError) as caught:
        evaluate(text, 0, PARAMETERS, 4)
    assert caught.value.line == 4


FORMULAS = st.recursive(
    st.integers(0, 9).map(str),
    lambda inner: st.tuples(inner, st.sampled_from("+-*"), inner).map("[{0[0]}{0[1]}{0[2]}]".format),
    max_leaves=12,
)


@given(FORMULAS)
def test_bracketed_sums_and_products_agree_with_arithmetic(text: str):
    """Fully bracketed formulas are worth what arithmetic says."""
    value, _ = evaluate(text, 0, {}, 1)
    assert value == eval(text.replace("[", "(").replace("]", ")"))  # noqa: S307 (digits and signs only)


def test_parameters_take_effect_after_their_line():
    """NISTIR 6556, 3.3.3, from memory: `#3=6 G1 X#3` moves to the old #3 and sets the new one after."""
    program = read("#3=15\nG21 G90 G1 F100\n#3=6 X#3\nX#3\n")
    assert program.moves.end[:, 0].tolist() == [15.0, 6.0]


def test_the_last_setting_of_a_parameter_counts():
    """NISTIR 6556, 3.3.3: a parameter set twice on a line keeps the last value."""
    assert read("#1=2 #1=3\nG21 G0 X#1").moves.end[0, 0] == 3


def test_parameters_are_numbered_from_parameters():
    """`##2` is the parameter whose number parameter 2 holds, and `#[1+2]` is #3."""
    assert read("#2=3\n#3=7\nG21 G0 X##2 Y#[1+2]").moves.end[0].tolist() == [7, 7, 0]
    assert read("#2=3\n##2=4\nG21 G0 X#3").moves.end[0, 0] == 4


def test_any_word_may_have_a_formula():
    """NISTIR 6556, 3.3.2: wherever a number may stand, G and M words included."""
    moves = read("#1=1\nG[20+1] G[9*10] S[3000*3] M[#1+2]\nG#1 X[2*3] F[10**2]").moves
    assert moves.end[0, 0] == 6
    assert (moves.feed[0], moves.speed[0]) == (100, 9000)


def test_an_unset_parameter_is_an_error():
    """A place that rests on a value from outside the program is unknown."""
    with pytest.raises(ProgramError, match="has not set"):
        read("G21 G0 X#5")
