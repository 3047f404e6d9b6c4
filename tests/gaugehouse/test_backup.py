"""Backups: taken while the daemon runs under load, put back; a file that is none changes nothing."""

import asyncio
import json
import shutil
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugehouse.backup import STORES, manifest_of, restore, take
from gaugehouse.cli import main
from gaugehouse.days import parse_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.rows import reading_cells
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings, look_into_traces
from tests.gaugehouse.farms import running

NOW_MS = 1_785_542_400_000


def kept(site: Site, up_to: int) -> dict[str, list[list[str]]]:
    """Every reading up to a tick, as it is printed."""
    with look_into_readings(site) as store:
        return {
            tank.id: [reading_cells(r) for r in store.read(tank.id, 0, 2**60) if r.seq <= up_to] for tank in site.tanks
        }


def entries(site: Site, most: int) -> list[Any]:
    with look_into_book(site) as book:
        return list(book.entries())[:most]


async def run_and_back_up(folder: Path, backups: Path) -> None:
    async with running(folder, speed=240.0) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        for number in range(3):
            enough = run.daemon._core.at.seq + 60
            await run.until(lambda live, enough=enough: run.daemon._core.at.seq > enough)
            await asyncio.to_thread(take, run.site, backups / f"{number}.tar.gz", run.clock.now_ms())


@pytest.fixture(scope="module")
def backed_up(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A site that has run, and three backups that were taken meanwhile; the site's folder and that of the backups."""
    folder, backups = tmp_path_factory.mktemp("farm"), tmp_path_factory.mktemp("backups")
    asyncio.run(run_and_back_up(folder, backups))
    return folder, backups


def test_a_backup_under_load_equals_the_source_up_to_its_instant(backed_up: tuple[Path, Path], tmp_path: Path) -> None:
    folder, backups = backed_up
    source = load_site(folder / "site.toml")
    for number in range(3):
        there = tmp_path / f"{number}"
        shutil.copytree(folder, there, ignore=shutil.ignore_patterns("store*"))
        site = load_site(there / "site.toml")
        made, aside = restore(site, backups / f"{number}.tar.gz", NOW_MS)
        assert aside is None
        assert made.seq > 0
        assert kept(site, 2**60) == kept(source, made.seq)
        with look_into_book(site) as book:
            assert book.verify().unbroken
            count = book.head().count
            assert str(book.head()) == made.head
        assert entries(site, count) == entries(source, count)
        told = [entry for entry in entries(site, count) if entry.kind == "fault" and "number" in entry.body]
        with look_into_traces(site) as traces:
            for entry in told:
                assert traces.trace(entry.body["instrument"], entry.body["number"]), "a fault without its trace"


async def test_what_was_there_is_moved_aside_and_a_daemon_goes_on_from_the_backup(
    backed_up: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, backups = backed_up
    here = tmp_path / "farm"
    shutil.copytree(folder, here)
    assert main(["restore", str(here / "site.toml"), str(backups / "0.tar.gz"), "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)
    aside = Path(told["aside"])
    assert sorted(path.name for path in aside.iterdir() if path.suffix == ".sqlite") == sorted(STORES)
    async with running(here) as run:
        await run.until(lambda live: all(tank["age_s"] is not None for tank in live["tanks"]))
        with pytest.raises(CouldNot, match="while no daemon runs"):
            restore(run.site, backups / "1.tar.gz", NOW_MS)
    with look_into_book(load_site(here / "site.toml")) as book:
        assert book.verify().unbroken
        assert book.head().count > int(told["head"].partition(":")[0])
    assert main(["restore", str(here / "site.toml"), str(backups / "1.tar.gz"), "--look"]) == 0
    assert "holds site" in capsys.readouterr().out


def unpacked(backup: Path, folder: Path) -> Path:
    with tarfile.open(backup) as archive:
        archive.extractall(folder, filter="data")
    return folder


def packed(folder: Path, backup: Path, names: list[str]) -> Path:
    with tarfile.open(backup, "w:gz") as archive:
        for name in names:
            archive.add(folder / name, name)
    return backup


def cut(whole: Path, into: Path) -> Path:
    into.write_bytes(whole.read_bytes()[:-200])
    return into


def garbage(_: Path, into: Path) -> Path:
    into.write_bytes(b"no backup at all" * 100)
    return into


def without_traces(whole: Path, into: Path) -> Path:
    folder = unpacked(whole, into.with_suffix(".d"))
    return packed(folder, into, ["manifest.json", "store/readings.sqlite", "store/records.sqlite"])


def one_byte_else(whole: Path, into: Path) -> Path:
    folder = unpacked(whole, into.with_suffix(".d"))
    book = folder / "store/records.sqlite"
    data = bytearray(book.read_bytes())
    data[-100] ^= 1
    book.write_bytes(data)
    return packed(folder, into, ["manifest.json", *(f"store/{name}" for name in STORES)])


def another_site(whole: Path, into: Path) -> Path:
    folder = unpacked(whole, into.with_suffix(".d"))
    manifest = folder / "manifest.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"site": "other"}))
    return packed(folder, into, ["manifest.json", *(f"store/{name}" for name in STORES)])


def newer(whole: Path, into: Path) -> Path:
    folder = unpacked(whole, into.with_suffix(".d"))
    manifest = folder / "manifest.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"format": 99}))
    return packed(folder, into, ["manifest.json", *(f"store/{name}" for name in STORES)])


def no_manifest(whole: Path, into: Path) -> Path:
    folder = unpacked(whole, into.with_suffix(".d"))
    return packed(folder, into, [f"store/{name}" for name in STORES])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (cut, "cut short|damaged"),
        (garbage, "is no backup"),
        (without_traces, "traces.sqlite in it is missing or damaged"),
        (one_byte_else, "records.sqlite in it is missing or damaged"),
        (another_site, "is of site 'other'"),
        (newer, "made by a newer gaugehouse"),
        (no_manifest, "no manifest"),
    ],
)
def test_a_backup_that_is_wrong_changes_nothing(
    backed_up: tuple[Path, Path], tmp_path: Path, spoil: Callable[[Path, Path], Path], words: str
) -> None:
    folder, backups = backed_up
    here = tmp_path / "farm"
    shutil.copytree(folder, here)
    site = load_site(here / "site.toml")
    before = {name: (site.store_path / name).read_bytes() for name in STORES}
    with pytest.raises(CallError, match=words):
        restore(site, spoil(backups / "2.tar.gz", tmp_path / "spoilt.tar.gz"), NOW_MS)
    assert {name: (site.store_path / name).read_bytes() for name in STORES} == before
    assert not list(site.store_path.glob(".restore*"))


def test_a_damaged_store_is_not_backed_up_and_leaves_no_half_file(backed_up: tuple[Path, Path], tmp_path: Path) -> None:
    here = tmp_path / "farm"
    shutil.copytree(backed_up[0], here)
    site = load_site(here / "site.toml")
    path = site.store_path / "readings.sqlite"
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 6] = bytes(4096 * 3)
    path.write_bytes(data)
    with pytest.raises(CouldNot, match=r"damaged|cannot be taken"):
        take(site, tmp_path / "new.tar.gz", NOW_MS)
    assert not list(tmp_path.glob("*new.tar.gz*"))


def test_the_settings_are_in_it_and_a_file_that_is_there_is_never_replaced(
    backed_up: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, backups = backed_up
    made = manifest_of(backups / "0.tar.gz")
    assert "site/site.toml" in made.sums
    assert parse_ms(made.time) > 0
    site = str(folder / "site.toml")
    assert main(["backup", site, str(backups / "0.tar.gz")]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["backup", site, str(tmp_path / "nowhere" / "x.tar.gz")]) == 3
    assert "cannot be written" in capsys.readouterr().err
    assert main(["backup", site, str(tmp_path / "x.tar.gz"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["head"]
    assert main(["restore", site, str(tmp_path / "none.tar.gz")]) == 3
