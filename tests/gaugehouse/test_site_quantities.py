"""Quantities as people write them, against published unit values."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugehouse.sitefile.quantities import BadQuantity, convert, converts, linear, parse, unit_of

NIST = "exact; NIST SP 811 / NIST HB 44 App. C"

UNITS = [
    # unit, value, in, source
    ("in", 25.4, "mm", NIST),
    ("ft", 0.3048, "m", NIST),
    ("lb", 0.45359237, "kg", NIST),
    ("gal", 3.785411784, "L", f"231 in3, {NIST}"),
    ("bbl", 158.987294928, "L", f"42 US gal, {NIST}"),
    ("barrel", 158.987294928, "L", f"42 US gal, {NIST}"),
    ("imperial_gallon", 4.54609, "L", NIST),
    ("ft3", 28.316846592, "L", NIST),
    ("psi", 6.894757293168, "kPa", "derived; NIST SP 811 / NIST HB 44 App. C"),
    ("lb/gal", 119.826427317, "kg/m3", "derived; NIST SP 811 / NIST HB 44 App. C"),
    ("m3", 6.289810770, "bbl", "derived; NIST SP 811 / NIST HB 44 App. C"),
]


@pytest.mark.parametrize(("unit", "value", "to", "source"), UNITS, ids=[row[0] for row in UNITS])
def test_units_have_their_published_values(unit, value, to, source):
    assert convert(1, unit, to) == pytest.approx(value, rel=1e-9), source


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("9.2 m", "m", 9.2),
        ("920 cm", "m", 9.2),
        ("9200mm", "m", 9.2),
        (" 9.2   m ", "m", 9.2),
        ("-0.05 m", "m", -0.05),
        ("1e3 mm", "m", 1.0),
        (".5 m", "m", 0.5),
        ("59 degF", "degC", 15.0),
        ("60 degF", "degC", 15.5555555556),  # (60 - 32) / 1.8, by definition
        ("15 °C", "degC", 15.0),
        ("288.15 K", "degC", 15.0),
        ("300 mm/min", "m/s", 0.005),
        ("2 m3/min", "m3/s", 0.0333333333333),
        ("2 m**3/min", "m3/s", 0.0333333333333),
        ("10 L/h", "m3/s", 2.77777777778e-06),
        ("11.2e-6 / degC", "1/degC", 11.2e-6),
        ("6.2e-6 / degF", "1/degC", 1.116e-5),  # the metric table prints 1.116e-5 for 6.2e-6 per degF of mild steel
        ("11.2e-6 1/K", "1/degC", 11.2e-6),
        ("0.25 %", "%", 0.25),
        ("0.8 g/cm3", "kg/m3", 800.0),
        ("10 min", "s", 600.0),
        ("500 ms", "s", 0.5),
    ],
)
def test_a_quantity_is_read_to_its_value(text, unit, value):
    assert parse(text, unit, "1 m") == pytest.approx(value, rel=1e-11)


def test_the_same_length_in_two_units_is_the_same_number():
    assert parse("920 cm", "m", "1 m") == parse("9.2 m", "m", "1 m") == 9.2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (9.2, "9.2 has no unit; write it in quotes with its unit"),
        (True, "this is no quantity"),
        (None, "this is no quantity"),
        ("9.2", "has no unit; write the unit too"),
        ("9,2 m", "has a comma; write the decimal mark as a point"),
        ("1,000 mm", "has a comma"),
        ("nine m", "is no quantity"),
        ("", "is no quantity"),
        ("nan m", "is no quantity"),
        ("inf m", "is no quantity"),
        ("9.2 metrs", '"metrs" is no unit known here'),
        ("9.2 m m3/", "is no unit known here"),
        ("9.2 s", "is not a length; write a length"),
        ("9.2 %", "is not a length"),
        ("9.2 degC", "is not a length"),
        ("1e308 km", "is too large"),
    ],
)
def test_what_is_no_length_is_refused_with_the_mend(text, words):
    with pytest.raises(BadQuantity) as caught:
        parse(text, "m", "9.2 m")
    assert words in str(caught.value)


def test_a_percentage_is_not_a_bare_number():
    assert not converts("", "%")
    assert not converts("%", "")
    assert converts("percent", "%")


def test_factor_and_constant_turn_one_scale_into_another():
    factor, constant = linear("degF", "degC")
    assert (factor, 32 * factor + constant) == (pytest.approx(5 / 9, abs=1e-12), pytest.approx(0, abs=1e-9))
    assert linear("mm", "m") == (0.001, 0.0)


@given(st.text(max_size=12) | st.from_regex(r"[0-9.e+-]{1,6} ?[a-zA-Z0-9/*%^ ]{0,10}", fullmatch=True))
@settings(max_examples=150, deadline=None)
def test_any_text_is_a_finite_number_or_a_named_refusal(text):
    try:
        value = parse(text, "m", "9.2 m")
    except BadQuantity as refusal:
        told = str(refusal)
    else:
        told, _ = "read", unit_of("m")
        assert math.isfinite(value)
    assert told
