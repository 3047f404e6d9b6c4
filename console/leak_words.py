"""Words of the leak test, for the page, the command and the paper. Only words: no rule hangs on them.

Never says that a tank is tight: only what loss would have been seen.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from console.figures import number, shown, unit, written

Json = dict[str, Any]

NONE: Final = "none"
NO_LOSS: Final = "No loss larger than {detectable} seen over {hours} h."
VERDICTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "no_loss_seen": NO_LOSS,
        "loss": "Loss of {loss} (± {u95}) over {hours} h: larger than the threshold of {threshold}.",
        "gain": "Gain of {gain} over {hours} h, larger than chance: nothing can be said of a loss. Something "
        "came in, or temperature, gauge or dry shell moved; find out what, then test again.",
        "cannot_tell": "Cannot tell: over {hours} h a loss would have to be {detectable} to be seen, and this site "
        "claims nothing above {claim}.",
        "refused": "No test.",
    }
)
VERDICT_NAMES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "no_loss_seen": "no loss seen",
        "loss": "loss suspected",
        "gain": "gain: not usable",
        "cannot_tell": "cannot tell",
        "refused": "refused",
    }
)
REFUSALS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "not_digital": "Its level is not the gauge's own digital figure, or the site file does not say so "
        "([stock.leak] tanks). A test needs one of 0.1 mm steps or finer, never the loop's current.",
        "coarse": "Its level comes in steps of {has}; a test needs {needs} or finer.",
        "no_temperature": "The liquid's temperature is not measured; a test needs a thermometer, best one of several "
        "spots over the height.",
        "volatile": "{has} evaporates: what goes out with the vapour cannot be told from a leak here.",
        "no_quiet_hours": "No stretch was quiet for long enough in two weeks: the longest had {has} h, a test needs "
        "{needs} h without movements, after the site's wait, with readings throughout.",
        "disturbed": "The tank was not quiet: {has}. Quiet again from {needs}.",
        "short": "{has} h are too short; a test needs {needs} h, best 24 h.",
        "holes": "Readings to trust cover only {has} % of the time; a test needs {needs} % and no hole above an hour.",
        "wanders": "The volume wandered so smoothly over {has} h that its scatter cannot be judged; a test needs "
        "longer quiet hours, best whole days.",
        "temperature": "The mean temperature's change is known to {has} (one standard error); to see what the "
        "site must see it would need {needs}.",
        "too_large": "At best {has} would be seen; the site claims nothing above {needs}. Better temperatures "
        "alone would not help: longer quiet hours would, or a gauge that the dry shell does not move.",
    }
)
ALARM: Final[Mapping[str, str]] = MappingProxyType(
    {
        "raised": "An alarm was raised: leak suspected.",
        "stands": "The alarm of an earlier test stands: this one does not end it.",
        "cleared": "It ends the alarm of an earlier test: it could have seen as large a loss, and saw none.",
    }
)
"""What signing a test did to the tank's alarm."""
TERMS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "fit": "Scatter about the line (neighbours' correlation allowed for)",
        "gauge_mount": "Gauge mount and wet shell",
        "dry_shell": "Dry shell above the liquid",
        "stratification": "Temperature that the thermometer does not see",
        "thermometer": "Thermometer's own steps and drift",
        "evaporation": "Evaporation, at most",
    }
)
FIRST: Final = (
    "Suspect a leak until shown otherwise: stop issuing from and receiving into the tank, look around it safely, and "
    "tell those whom local rules name.",
    "Valves: are all closed that should be, and do they hold? Look at the neighbours' levels for fuel that passed.",
    "Meters and papers: was anything issued, sampled or drained that nobody wrote down?",
    "Temperature: does the thermometer still tell the truth? Compare it with one let down by hand.",
    "Gauge: dip the tank by hand, twice, and compare.",
    "Then test again over whole days. A licensed tester decides; this is an aid.",
)
WHAT_IT_IS: Final = (
    "Slope of the standard volume over quiet hours. Not a statutory tightness test unless a body with the competence "
    "accepts it as one; the rates of published rules are for buried tanks and a yardstick only. Follow local codes."
)
PAGE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "title": "Leak test",
        "smallest": "The smallest rate that a test of this tank could ever claim",
        "slope": "Slope of standard volume",
        "loss": "Loss found",
        "u": "Standard uncertainty",
        "threshold": "Threshold (false alarm in 5 % of tests at most)",
        "detectable": "Detectable rate (found in 95 % of tests at least)",
        "window": "Quiet hours",
        "budget": "What makes it uncertain",
        "share": "share",
        "first": "What to do first",
        "signed": "Signed tests",
        "none_signed": "No test was signed yet.",
        "sign": "Sign this test",
        "suspected": "A loss of {loss} L/h is suspected, by the test of {window}, signed by {by} {signed}. An alarm "
        "stands until a later signed test that could have seen as much sees none, or until a person decides.",
        "decide": "Decide that it is no loss",
        "reason": "Why it is none, or what was done",
        "decided": "decided by {by} at {time}: {reason}",
        "chart": "Standard volume over the quiet hours: means, straight line, and the least fall told as a loss",
        "chart_key": "{unit} at the reference temperature, from the line's start. Dots: means of a stretch. Full line: "
        "the slope. Thin line: with the daily wave. Dashed: the least fall that would be told as a loss.",
        "unread": "The history cannot be read now; try again.",
    }
)


def figure(value: float | str | None, places: int = 2) -> str:
    """A figure with a true minus; a word stays what it is, None is "not known"."""
    if value is None:
        return "not known"
    return value if isinstance(value, str) else number(value, places)


def litres(m3_per_h: float | None, finer: int = 0) -> str:
    """A rate without its unit, `finer` decimals more than usual; "none" where there is none."""
    if m3_per_h is None:
        return NONE
    return written("leak_m3_per_h", m3_per_h, decimals=shown("leak_m3_per_h").decimals + finer)


def rate(m3_per_h: float | None) -> str:
    """A rate with its unit."""
    return NONE if m3_per_h is None else f"{litres(m3_per_h)} {unit('leak_m3_per_h')}"


def verdict(result: Json) -> str:
    """The sentence of a result; the body of `gaugehouse.leakwork.outcome_json`."""
    loss = result["loss_m3_per_h"]
    return VERDICTS[result["verdict"]].format(
        detectable=rate(result["detectable_m3_per_h"]),
        hours="" if result["hours"] is None else f"{result['hours']:g}",
        loss=rate(loss),
        gain=rate(None if loss is None else -loss),
        u95=litres(None if result["u_m3_per_h"] is None else 2 * result["u_m3_per_h"]),
        threshold=rate(result["threshold_m3_per_h"]),
        claim=rate(result["claim_at_most_m3_per_h"]),
    )


_KINDS: Final = {"coarse": ("apart_m", 0), "too_large": ("leak_m3_per_h", 0), "temperature": ("apart_degC", 2)}
"""Of which kind the figures of a refusal are, and how many decimals more than usual they need."""


def refusal(said: Json) -> str:
    """Why there is no test, and what it would need."""
    kind, finer = _KINDS.get(said["why"], ("", 0))

    def put(value: float | str | None) -> str:
        if value is None or isinstance(value, str) or not kind:
            return figure(value, 0 if said["why"] == "holes" else 1)
        return f"{written(kind, value, decimals=shown(kind).decimals + finer)} {unit(kind)}"

    return REFUSALS[said["why"]].format(has=put(said["has"]), needs=put(said["needs"]))
