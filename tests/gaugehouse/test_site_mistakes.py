"""Every site file in tests/sites/bad holds one mistake, every one in tests/sites/unwise one thing unwise.

They are written as the lines (#-) of tests/sites/good/plain.toml that give way to others (#+); the first line holds the
words that the user must see, the second the key that must be named.
"""

import random
import shutil
import tomllib
from pathlib import Path
from typing import NamedTuple

import pytest

from gaugehouse.checking import check
from gaugehouse.site import Severity, SiteError, load_site

SITES = Path(__file__).parent.parent / "sites"
GOOD = (SITES / "good" / "plain.toml").read_text(encoding="utf-8")


class Case(NamedTuple):
    expect: str
    key: str
    text: str


def case_of(path: Path) -> Case:
    """The site file that a case describes: the good one with each block of old lines replaced."""
    head, text = path.read_text(encoding="utf-8").splitlines(), GOOD
    expect, key = head[0].removeprefix("# expect: "), head[1].removeprefix("# key:").strip()
    for hunk in "\n".join(head[2:]).split("\n#\n"):
        old = [line[3:] for line in hunk.splitlines() if line.startswith("#-")]
        new = [line[3:] for line in hunk.splitlines() if line.startswith("#+")]
        block = "\n" + "".join(f"{line}\n" for line in old)
        assert old, f"{path.name}: a hunk without old lines"
        assert text.count(block) == 1, f"{path.name}: its old lines stand {text.count(block)} times in the good file"
        text = text.replace(block, "\n" + "".join(f"{line}\n" for line in new))
    return Case(expect, key, text)


def written(text: str, folder: Path) -> Path:
    """The site file on disk, with the capacity tables where it looks for them."""
    shutil.copytree(SITES / "tables", folder / "tables", dirs_exist_ok=True)
    (folder / "site").mkdir(exist_ok=True)
    path = folder / "site" / "site.toml"
    path.write_text(text, encoding="utf-8")
    return path


def cases(folder: str) -> list[object]:
    paths = sorted((SITES / folder).glob("*.toml"))
    return [pytest.param(path, id=path.stem) for path in paths]


def test_there_are_many_mistakes_to_try():
    assert len(cases("bad")) >= 45
    assert len(cases("unwise")) >= 20


@pytest.mark.parametrize("path", cases("bad"))
def test_one_mistake_is_told_once_with_file_key_and_mend(path, tmp_path):
    case = case_of(path)
    with pytest.raises(SiteError) as caught:
        load_site(written(case.text, tmp_path))
    assert [p.text for p in caught.value.problems if case.expect not in p.text] == []
    (problem,) = caught.value.problems
    assert problem.severity is Severity.ERROR
    assert problem.key == case.key
    assert problem.text.startswith(f"{problem.file}: ")
    assert problem.key in problem.text
    assert Path(problem.file).suffix in (".toml", ".csv")
    assert ";" in problem.text or "write" in problem.text, "the mend is missing"


@pytest.mark.parametrize("path", cases("unwise"))
def test_one_unwise_thing_is_one_warning_and_the_site_loads(path, tmp_path):
    case = case_of(path)
    report = check(written(case.text, tmp_path))
    assert [p.text for p in report.problems if case.expect not in p.text] == []
    (problem,) = report.problems
    assert (problem.severity, problem.key, report.exit_code) == (Severity.WARNING, case.key, 0)


def test_the_good_site_has_no_problems():
    report = check(SITES / "good" / "plain.toml")
    assert (report.problems, report.exit_code) == ((), 0)


def test_all_mistakes_are_told_at_once(tmp_path):
    text = GOOD
    for old, new in (
        ('zone = "Europe/Oslo"', 'zone = "Europe/Olso"'),
        ("port = 8600", "port = 86000"),
        ("unit = 2\n", "unit = 248\n"),
        ('product = "jet-a1"\nlevel = "li-1.current"', 'product = "jet"\nlevel = "li-1.curent"'),
        ('reference_height = "13.5 m"', "reference_height = 13.5"),
        ("tables/t1.csv", "tables/falling-level.csv"),
        ('critical_high = "11.9 m"', 'critical_high = "11.3 m"'),
        ('rise_fast = "300 mm/min"', 'rise_fst = "300 mm/min"'),
        ('signal = "li-2.flow"', 'signal = "li-2.flw"'),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    with pytest.raises(SiteError) as caught:
        load_site(written(text, tmp_path))
    assert sorted(p.key for p in caught.value.problems) == sorted(
        [
            "site.zone",
            "console.port",
            "instrument[li-2].unit",
            "tank[t1].product",
            "tank[t1].level",
            "tank[t1].reference_height",
            "row 5",
            "tank[t1].limits.high_high",
            "tank[t1].limits.rise_fst",
            "meter[m1].signal",
        ]
    )
    assert str(caught.value).count("\n") == 9, "one line for each mistake"


def test_a_file_that_is_not_there_is_told_with_the_mend(tmp_path):
    with pytest.raises(SiteError, match=r"nowhere\.toml: the site file cannot be read: No such file"):
        load_site(tmp_path / "nowhere.toml")


def test_a_file_that_is_no_text_is_told(tmp_path):
    path = tmp_path / "site.toml"
    path.write_bytes(b'[site]\nid = "caf\xe9"\n')
    with pytest.raises(SiteError, match="no text in UTF-8"):
        load_site(path)


def test_an_empty_file_names_every_table_that_is_missing(tmp_path):
    with pytest.raises(SiteError) as caught:
        load_site(written("", tmp_path))
    assert [p.key for p in caught.value.problems] == ["site", "bus", "instrument", "product", "tank"]


JUNK = (
    0, -1, 3, 1e308, 10**400, 70000, True, "", "x", "9.2 m", "1e400 m", "nan", "{said}", "%", "5 /", "m", "2 m**",
    "1 m3/s", "\u00b5A", "li-1.current", "a.b", "none", [], [1], {}, [{}], {"at": 1},
)  # fmt: skip


def spoil(tree: object, random: random.Random) -> None:
    """Replace, remove or add something somewhere in a site's tables."""
    places: list[tuple[object, object]] = []

    def walk(node: object) -> None:
        for key in list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
            places.append((node, key))
            walk(node[key])

    walk(tree)
    node, key = random.choice(places)
    match random.randrange(4):
        case 0 if isinstance(node, dict):
            del node[key]
        case 1 if isinstance(node, dict):
            node[f"{key}x"] = random.choice(JUNK)
        case _:
            node[key] = random.choice(JUNK)


def toml_of(value: object) -> str:
    """A value as inline TOML."""
    match value:
        case bool():
            return "true" if value else "false"
        case dict():
            return "{" + ", ".join(f'"{key}" = {toml_of(item)}' for key, item in value.items()) + "}"
        case list():
            return "[" + ", ".join(map(toml_of, value)) + "]"
        case str():
            return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
        case _:
            return repr(value)


def test_no_spoiled_site_file_does_more_than_name_its_problems(tmp_path):
    """Hundreds of sites with one to three keys spoiled: problems, never an exception."""
    dice, refused = random.Random(20260131), 0
    path = written(GOOD, tmp_path)
    for _ in range(250):
        tree = tomllib.loads(GOOD)
        for _ in range(dice.randint(1, 3)):
            spoil(tree, dice)
        path.write_text("".join(f'"{key}" = {toml_of(item)}\n' for key, item in tree.items()), encoding="utf-8")
        problems = check(path).problems
        refused += any(problem.severity is Severity.ERROR for problem in problems)
        assert len(set(problems)) == len(problems), f"one mistake told twice: {problems}"
    assert refused > 150
