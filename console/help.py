"""The help: one short text a page, with the terms that stand on it and the keys that it knows.

Only words, and which address has which help; `console.help_terms` says what a term means. A test asks that each page
has an entry here and that each term is known.
"""

from typing import Final, NamedTuple

Keys = tuple[tuple[str, str], ...]


class Help(NamedTuple):
    """Help of one page. paths: its addresses as routes; about: a few sentences; keys: beside those of every page."""

    key: str
    title: str
    paths: tuple[str, ...]
    about: tuple[str, ...]
    terms: tuple[str, ...]
    keys: Keys = ()


EVERY_PAGE: Final[Keys] = (
    ("Tab, Shift + Tab", "next or previous link, button or field"),
    ("Enter", "follow the link, press the button"),
    ("Space", "press the button, tick the box"),
    ("Ctrl + P", "print; help and papers come out black on white"),
)
CHART: Final[Keys] = (
    ("← →", "move the trend in time, while it has the focus"),
    ("+ −", "closer, wider"),
    ("[ ]", "read out the point before, after"),
    ("0", "back to now"),
)
STATES: Final = ("priority", "acknowledged", "returned", "latched", "shelved", "suppressed", "out_of_service")

PAGES: Final = (
    Help(
        "board",
        "Board",
        ("/",),
        (
            (
                "One line a tank, always in the same order. The page is grey while all is well; colour means "
                "that something is abnormal."
            ),
            "Choose a tank's name for its own page.",
        ),
        ("tov", "next", "limits", "room", "tape", "innage", "water", "quality", "stale", "status107", "priority"),
    ),
    Help(
        "tank",
        "Tank",
        ("/tank/{tank}",),
        (
            (
                "Everything about one tank: the standing tape, its figures with each step from the raw "
                "register to the mass, the trend, movements, and the form to order one."
            ),
            "A movement is ordered by name. What does not fit below the maximum working level is refused.",
        ),
        (
            "tov",
            "gov",
            "gsv",
            "u95",
            "innage",
            "ullage",
            "water",
            "room",
            "next",
            "limits",
            "tape",
            "quality",
            "stale",
            "status107",
        ),
        CHART,
    ),
    Help(
        "alarms",
        "Alarms",
        ("/alarms",),
        (
            "What stands now: not acknowledged first, then acknowledged, then set aside. Each says what to do.",
            (
                "Tick what you have dealt with, write your name and what you found, and acknowledge. There is "
                "no way to acknowledge all at a stroke. Silence quiets the sound and acknowledges nothing."
            ),
        ),
        (*STATES, "independent"),
    ),
    Help(
        "alarms-every",
        "Every alarm",
        ("/alarms/every",),
        (
            "Every alarm that the site can raise, with its state, its test and how to prove it.",
            "A test of a high level must never become an overfill: the site's own rules and permits hold.",
        ),
        (*STATES, "independent", "limits"),
    ),
    Help(
        "alarms-performance",
        "Performance of the alarms",
        ("/alarms/performance",),
        (
            (
                "The alarms of the chosen days held against the aims of the standard: are there too many for "
                "one operator?"
            ),
        ),
        ("flood", "chattering", "priority"),
    ),
    Help(
        "loops",
        "Loops",
        ("/loops",),
        ("Every level loop: its current on the bands, a verdict in words, its noise, its last fault.",),
        ("ne43", "status107", "fault", "noise", "stale"),
    ),
    Help(
        "loop",
        "Loop",
        ("/loops/{instrument}",),
        ("One loop: current, noise, faults and how often they come back, loop checks, and what its supply leaves.",),
        ("ne43", "status107", "fault", "noise", "check", "trace"),
        CHART,
    ),
    Help(
        "fault",
        "Loop fault",
        ("/loops/{instrument}/faults/{number}",),
        (
            (
                "One fault: its trace, what may have caused it, what speaks for and against each cause, and "
                "what people wrote."
            ),
            "Work on the loop follows the site's permits. A ranking of causes is no finding.",
        ),
        ("fault", "trace", "ne43", "status107", "dip"),
        CHART,
    ),
    Help(
        "check",
        "Loop check",
        ("/loops/{instrument}/check",),
        (
            (
                "A check of a loop, step by step, made for a phone beside the instrument. It is refused while "
                "the tank moves, unless another level signal covers it."
            ),
            (
                "While it runs, the listed alarms are blind. Equipment for a classified area must be approved "
                "for it; local codes decide."
            ),
        ),
        ("check", "ne43", "status107", "out_of_service"),
    ),
    Help(
        "lines",
        "Lines",
        ("/buses",),
        ("The lines to the instruments: who answers, how fast, how often not.",),
        ("polls", "stale"),
    ),
    Help(
        "stock",
        "Stock book",
        ("/stock",),
        (
            (
                "What every tank holds, and the book of the day and the month, to be read from left to right "
                "as the sum that it is. A day without papers is called incomplete."
            ),
        ),
        ("book", "physical", "variance", "close", "gsv", "u95"),
    ),
    Help(
        "documents",
        "Documents",
        ("/documents",),
        (
            (
                "The papers of the stock book. One that is wrong can be undone until its day is closed; "
                "afterwards a new paper puts it right."
            ),
        ),
        ("document", "book", "close", "gsv"),
    ),
    Help(
        "receipts",
        "Receipts",
        ("/receipts",),
        (
            "Receipts that were announced, that run, and that are over.",
            "Whoever receives stays at the valve and watches the level; this page stops nothing.",
        ),
        ("receipt", "limits", "room", "batch", "density"),
    ),
    Help(
        "receipt",
        "Receipt",
        ("/receipts/{number}",),
        (
            (
                "One receipt: will it fit, when is it where, line against tank while it runs, tank against "
                "papers when the surface is calm, and a person's decision."
            ),
        ),
        ("receipt", "limits", "next", "gsv", "u95", "batch", "density", "relaxation"),
    ),
    Help(
        "dips",
        "Dips",
        ("/dips",),
        (
            (
                "The tanks and what was last measured in them by hand. Do not open a tank before the "
                "relaxation time is over."
            ),
        ),
        ("dip", "relaxation", "density", "water", "due"),
    ),
    Help(
        "dip",
        "Dips of a tank",
        ("/dips/{tank}",),
        (
            "Write down a dip or a sample, and see what the row of dips says of the gauge.",
            (
                "Do not open a tank before the relaxation time is over, and earth what you lower into it: the "
                "site's own procedure holds."
            ),
        ),
        ("dip", "relaxation", "innage", "density", "cusum", "water"),
    ),
    Help(
        "leak",
        "Leak test",
        ("/leak",),
        (
            (
                "A quiet tank's standard volume over its newest quiet hours. At a suspected loss the site's "
                "own plan and the local authority's rules come first."
            ),
        ),
        ("leak", "gsv", "u95"),
    ),
    Help(
        "status",
        "Release",
        ("/status",),
        (
            (
                "What each tank is ready for. The program counts time and keeps what people said; it tests "
                "nothing and releases nothing."
            ),
        ),
        ("settling", "release", "relaxation", "batch"),
    ),
    Help(
        "water",
        "Water",
        ("/water",),
        (
            (
                "What came of a look at the drains, and whether more water was found than can be explained. "
                "Draining has its own cautions: they stand above the form."
            ),
        ),
        ("water", "wateraccount", "dip"),
    ),
    Help(
        "forecast",
        "Forecast",
        ("/forecast",),
        ("How many days the stock lasts, and when to order.",),
        ("forecast", "limits"),
    ),
    Help(
        "due",
        "Due",
        ("/due",),
        ("What is overdue, due and coming, with who may do it.",),
        ("due", "dip", "check"),
    ),
    Help(
        "trends",
        "Trends",
        ("/trends",),
        ("Several tanks in one chart, with alarms, movements and faults on the axis. Gaps are shown as gaps.",),
        ("innage", "tov", "gsv", "fault"),
        CHART,
    ),
    Help(
        "reports",
        "Reports",
        ("/reports", "/reports/{kind}"),
        ("Papers of stock and shift, to read, to print and to keep. A figure that is not known is never a zero.",),
        ("book", "physical", "variance", "gsv", "u95"),
    ),
    Help(
        "yard",
        "Yard display",
        ("/yard",),
        (
            "Digits for a screen outdoors. The address sets it: dist (metres to the farthest reader), "
            "screen (inches), arc (minutes of arc), show (percent, level, volume), light (sun, night), "
            "night (hours such as 19:00-06:00), turn (seconds a page), tank (one or more).",
            "For example /yard?dist=12&screen=55. It is not a shutdown system: whoever loads watches the loading.",
        ),
        ("arc", "room", "quality", "priority", "limits"),
    ),
    Help(
        "settings",
        "Settings",
        ("/settings",),
        (
            (
                "The site file as the daemon runs it, and what changed at its last start. To change "
                "something, edit the file, run gaugehouse check, and start the daemon anew."
            ),
        ),
        ("site_file", "record_book", "limits"),
    ),
    Help(
        "sign-in",
        "Sign in",
        ("/sign-in",),
        (
            (
                "Sign in with the name and password that the site's administrator gave you. Without users the "
                "console answers on its own machine only."
            ),
        ),
        ("session", "record_book"),
    ),
    Help(
        "help",
        "Help",
        ("/help", "/help/{page}"),
        ("Every page has a ? at its head that leads to its own help. This list has all of them, and prints.",),
        ("record_book",),
    ),
)

BY_KEY: Final = {page.key: page for page in PAGES}


def matches(pattern: str, path: str) -> bool:
    """True where an address is one of a route's: as many parts, each the same or a part in braces."""
    wanted, given = pattern.split("/"), path.rstrip("/").split("/") if path != "/" else ["", ""]
    return len(wanted) == len(given) and all(
        a == b or (a.startswith("{") and b) for a, b in zip(wanted, given, strict=True)
    )


def key_of(path: str) -> str | None:
    """The help of an address; None for one that is no page of ours. An exact address comes before one with a part in
    braces: /alarms/every is no tank's page."""
    found = [(pattern.count("{"), page.key) for page in PAGES for pattern in page.paths if matches(pattern, path)]
    return min(found)[1] if found else None
