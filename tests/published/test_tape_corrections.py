"""Tape corrections worked in surveying textbooks.

N. N. Basak, Surveying and Levelling, ch. 1, problems 6 to 9 (read in a companion notebook); a practice question of
curioustab.com and one of a scribd handout (read); Young and Freedman's tape problem (data read, answer from memory);
B. C. Punmia, Surveying I (question read, answer from memory). Forces there in kg, lengths in m, areas in cm2.
"""

import pytest

from computations.derivation import derive
from computations.inputs import Instrument, Reading, Visit
from computations.tape import pull_correction, sag_correction, temperature_correction, temperature_for

BASAK_E = 2.1e6  # kg/cm2


def corrections(length, temperatures, alpha, pulls, tape, *, modulus=BASAK_E):
    """Temperature, pull and sag for one tape length, and their sum; `tape` is its area and whole weight."""
    (standard_temperature, temperature), (area, weight) = temperatures, tape
    temperature_part = temperature_correction(length, temperature, alpha, standard_temperature)
    pull_part = pull_correction(length, pulls[1], pulls[0], area, modulus)
    sag_part = sag_correction(length, pulls[1], weight / length)
    return temperature_part, pull_part, sag_part, temperature_part + pull_part + sag_part


def test_basak_problem_6() -> None:
    ct, cp, cs, error = corrections(30, (20, 32), 11e-6, (10, 15), (0.03, 0.693))
    assert ct == pytest.approx(0.00396, abs=5e-7)
    assert cp == pytest.approx(0.002381, abs=5e-7)
    assert cs == pytest.approx(-0.002668, abs=5e-7)
    assert error == pytest.approx(0.003673, abs=1e-6)
    assert 780 * (30 + error) / 30 == pytest.approx(780.0955, abs=5e-5)


def test_basak_problem_6_supported_in_the_middle() -> None:
    """Two spans of half the length and half the weight."""
    half = sag_correction(15.0, 15, 0.693 / 30)
    assert 2 * half == pytest.approx(-0.000667, abs=5e-7)
    error = 0.00396 + 0.00238095 + 2 * half
    assert error == pytest.approx(0.005674, abs=1e-6)
    assert 780 * (30 + error) / 30 == pytest.approx(780.1475, abs=5e-5)


def test_basak_problem_7() -> None:
    ct, cp, cs, error = corrections(20, (20, 30), 11e-6, (15, 10), (0.02, 0.4))
    assert (ct, cp, cs) == pytest.approx((0.0022, -0.002381, -0.001333), abs=5e-7)
    assert 20 + error == pytest.approx(19.998486, abs=1e-6)


@pytest.mark.parametrize(("pull", "printed"), [(5, 29.97987), (11, 30.001436)])
def test_basak_problem_8(pull: float, printed: float) -> None:
    _, cp, cs, error = corrections(30, (20, 25), 11e-6, (5, pull), (0.02, 0.66))
    assert 30 + error == pytest.approx(printed, abs=1e-6)
    if pull == 11:
        assert (cp, cs) == pytest.approx((0.004286, -0.0045), abs=5e-7)


def test_basak_problem_9() -> None:
    ct, cp, cs, error = corrections(20, (20, 32), 11e-6, (5, 16), (0.03, 0.6))
    assert (ct, cp, cs) == pytest.approx((0.00264, 0.003492, -0.001172), abs=5e-7)
    assert 680 * (20 + error) / 20 == pytest.approx(680.1686, abs=5e-5)


def test_punmia() -> None:
    """20 m at 55 F and 10 kg, used at 80 F and 16 kg; steel of 7.86 g/cm3 weighing 0.8 kg."""
    area = 0.8 / (20 * 100 * 7.86e-3)
    assert area == pytest.approx(0.0509, abs=5e-5)
    ct, cp, cs, error = corrections(20, (55, 80), 6.2e-6, (10, 16), (area, 0.8), modulus=2.109e6)
    assert (ct, cp, cs) == pytest.approx((0.0031, 0.00112, -0.00208), abs=5e-6)
    assert error == pytest.approx(0.002135, abs=5e-6)


def test_pull_alone_of_a_wide_tape() -> None:
    assert pull_correction(30.0, 10, 0, 1.5 * 0.1, 2.2e6) == pytest.approx(0.000909, abs=5e-7)


def test_the_temperature_at_which_a_line_measures_longer() -> None:
    assert temperature_for(318.0, 318.103, 1.16e-5) == pytest.approx(47.92, abs=0.005)


def test_young_and_freedman() -> None:
    assert 35.794 + temperature_correction(35.794, 35.0, 1.2e-5) == pytest.approx(35.80044, abs=5e-6)


def test_a_derivation_corrects_a_hanging_tape_like_basak_s_problem_9() -> None:
    """The same tape in mm and N (1 kg is 9.80665 N), as a 20 m reading with a free tape."""
    g = 9.80665
    tape = Instrument(
        "T-02",
        accuracy_class="II",
        expansion_per_k=11e-6,
        cross_section_mm2=3.0,
        modulus_n_per_mm2=BASAK_E * g / 100,
        weight_n_per_mm=0.6 * g / 20_000,
        reference_pull_n=5 * g,
    )
    reading = Reading("luff_between_bands", 20_000.0, instrument="T-02", pull_n=16 * g)
    luff = derive(Visit(air_temperature_c=32.0, instruments=(tape,), readings=(reading,))).get("P")
    assert luff is not None
    assert luff.value == pytest.approx(20_000 + 2.64 + 3.492 - 1.172, abs=2e-3)
