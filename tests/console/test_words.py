"""The catalogue has a word for everything that the rest of the house can say."""

from alerts.spec import (
    LEVEL_HIGH_CONDITIONS,
    LEVEL_LOW_CONDITIONS,
    RATE_CONDITIONS,
    SIGNAL_CONDITIONS,
    WATCHED_CONDITIONS,
)
from console import words
from console.units import SHOWN
from models.reading import Quality, Reason
from models.signal import Band


def test_every_condition_has_a_name() -> None:
    levels = {*LEVEL_HIGH_CONDITIONS, *LEVEL_LOW_CONDITIONS}
    assert {*levels, *RATE_CONDITIONS, *SIGNAL_CONDITIONS, *WATCHED_CONDITIONS} <= set(words.CONDITIONS)
    assert set(words.LIMITS) == levels


def test_every_reason_quality_and_band_has_words() -> None:
    assert set(words.REASONS) == set(Reason)
    assert set(words.QUALITIES) == {quality.word for quality in Quality}
    assert set(words.BANDS) == set(Band)


def test_every_shown_quantity_of_a_chart_has_a_name() -> None:
    from console.pages import CHART_COLUMNS

    assert set(CHART_COLUMNS) <= set(SHOWN)
    assert set(CHART_COLUMNS) <= set(words.QUANTITIES)


def test_the_caution_says_what_this_is_not() -> None:
    for what in ("overfill prevention", "safety instrumented function", "custody transfer", "local codes"):
        assert what in words.CAUTION
