"""All rounding, and the rule each step follows.

ISO 80000-1 Annex B (formerly ISO 31-0:1992 Annex B): round in one step to a multiple of the rounding range;
where two multiples are equally near, rule A takes the even one, rule B the greater one.
JCGM 100:2008, 7.2.6: an uncertainty is quoted with at most two significant digits, and the estimate to the
uncertainty's last digit. Intermediate results are never rounded.
A float is taken at the shortest decimal text that means it (2.675 is 2.675, not the binary number beneath).
"""

from __future__ import annotations

import math
from contextlib import suppress
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from fractions import Fraction

THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"

Number = Decimal | Fraction | float | int | str


def exact(value: Number) -> Fraction:
    """The number as written: floats at their shortest decimal text. ValueError where it is not finite."""
    if isinstance(value, Fraction):
        return value
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("Only a finite number can be rounded.")
    return Fraction(Decimal(str(value)))


def nearest_multiple(value: Number, step: Number, rule: str = "A") -> Fraction:
    """The multiple of `step` nearest to `value`, ties by ISO 80000-1 Annex B rule "A" (even) or "B" (greater)."""
    size = exact(step)
    if size <= 0:
        raise ValueError("The rounding range must be greater than zero.")
    steps = exact(value) / size
    below = math.floor(steps)
    rest = steps - below
    half = Fraction(1, 2)
    up = rest > half or (rest == half and (rule == "B" or below % 2 == 1))
    return (below + int(up)) * size


def to_decimals(value: Number, decimals: int, rule: str = "A") -> Decimal:
    """`value` with that many decimals (negative: tens, hundreds ...), ties by rule A or B."""
    if rule == "A" and isinstance(value, float) and math.isfinite(value):
        # The same step by the decimal library itself, which is an order of magnitude quicker.
        with suppress(InvalidOperation):  # more digits than it holds: the way below has no such bound
            rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
            return rounded or abs(rounded)
    step = Fraction(10) ** -decimals
    multiple = nearest_multiple(value, step, rule)
    scaled = int(multiple / step)
    return Decimal(scaled).scaleb(-decimals)


def to_significant(value: Number, digits: int, rule: str = "A") -> Decimal:
    """`value` with that many significant digits; 9.96 to two digits is 10."""
    number = exact(value)
    if number == 0:
        return Decimal(0)
    return to_decimals(number, digits - 1 - _exponent(abs(number)), rule)


def _exponent(number: Fraction) -> int:
    """Power of ten of the leading digit of a positive number, exactly."""
    exponent = len(str(number.numerator)) - len(str(number.denominator))
    if Fraction(10) ** exponent > number:
        exponent -= 1
    elif Fraction(10) ** (exponent + 1) <= number:
        exponent += 1
    return exponent


def decimals_of_uncertainty(uncertainty: Number, digits: int = 2) -> int | None:
    """To how many decimals a value with this uncertainty is quoted; None where the uncertainty is zero."""
    if isinstance(uncertainty, float) and 0.0 < uncertainty < math.inf:
        leading = Decimal(repr(float(uncertainty))).adjusted()
        return digits - 1 - to_decimals(uncertainty, digits - 1 - leading).adjusted()
    number = exact(uncertainty)
    if number <= 0:
        return None
    rounded = exact(to_decimals(number, digits - 1 - _exponent(number)))
    return digits - 1 - _exponent(rounded)


def quote(value: Number, uncertainty: Number, digits: int = 2) -> tuple[Decimal, Decimal]:
    """Value and expanded uncertainty as they are printed together (JCGM 100:2008, 7.2.6)."""
    decimals = decimals_of_uncertainty(uncertainty, digits)
    if decimals is None:
        raise ValueError("A value cannot be quoted with an uncertainty of zero.")
    return to_decimals(value, decimals), to_decimals(uncertainty, decimals)


def written(number: Decimal) -> str:
    """Digits for people: thousands set off by a thin space (ISO 80000-1, 7.3.1), a true minus sign."""
    text = format(abs(number), "f")
    whole, _, fraction = text.partition(".")
    if len(whole) > 3:
        whole = f"{int(whole):,}".replace(",", THIN_SPACE)
    sign = MINUS if number < 0 else ""
    return sign + whole + (f".{fraction}" if fraction else "")


def format_number(value: Number, decimals: int = 0) -> str:
    """`value` rounded by rule A and written for people."""
    return written(to_decimals(value, decimals))
