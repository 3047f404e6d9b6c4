"""What the house tells of itself, through a running daemon on the simulated farm."""

from pathlib import Path

from tests.gaugehouse.farms import running


async def test_a_warning_names_its_file_and_key_once_and_not_the_folder(tmp_path: Path) -> None:
    async with running(tmp_path) as farm:
        facts = farm.daemon.facts
        assert facts is not None
        warnings = facts.settings()["warnings"]
    assert any(line.startswith("site.toml: tank[dune].water: no water measured") for line in warnings), warnings
    assert str(tmp_path) not in "".join(warnings)
