"""What a shop is told while it is set up, and where the words for a visit file are found."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli import main
from corekit.cli.plugins import _places
from corekit.desk.setup import Answers, set_up
from corekit.plugin.host import load


@pytest.mark.parametrize("name", sorted(load().systems))
def test_every_word_that_a_visit_file_may_use_is_listed(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plugins", name]) == 0
    said = " ".join(capsys.readouterr().out.split())
    system = load().systems[name]
    for shelf in (system.measurands, system.observations, system.traits, system.operations):
        for key, item in shelf.items():
            assert f'"{key}" {item.title}' in said
    for observation in system.observations.values():
        for answer in observation.answers:
            assert f'"{answer.value}"' in said


def test_an_unknown_system_is_named_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plugins", "batery"]) == 1
    assert "'batery'" in (said := capsys.readouterr().err)
    assert "battery" in said.replace("batery", "")


def test_places_that_only_count_are_said_by_their_ends() -> None:
    assert _places(["posts", "clamps"]) == '"posts", "clamps"'
    assert _places(["cell 1", "cell 2"]) == '"cell 1", "cell 2"'
    assert _places([f"cell {count}" for count in range(1, 7)]) == '"cell 1" to "cell 6"'
    assert _places(["lead 1", "lead 2", "lead 3", "coil lead"]) == '"lead 1" to "lead 3", "coil lead"'
    assert _places(["a 1", "b 2", "b 3", "b 4"]) == '"a 1", "b 2", "b 3", "b 4"'


def test_set_up_again_an_empty_answer_leaves_what_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(tmp_path / "s", Answers(name="N", address=("A",), currency="EUR"))
    asked: list[str] = []
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or "")
    before = (tmp_path / "s" / "shop.toml").read_bytes()
    assert main(["init", str(tmp_path / "s")]) == 0
    assert "operations added" in capsys.readouterr().out  # once: they stand in the price book then
    assert main(["init", str(tmp_path / "s")]) == 0
    assert "nothing was changed" in capsys.readouterr().out
    assert (tmp_path / "s" / "shop.toml").read_bytes() == before
    assert asked[0].startswith("Your name") and "[N]" in asked[0]


def test_an_empty_answer_is_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answers = iter(["", "Me", " ", "1 Lane", "", "", "", "EUR", *[""] * 5])
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    assert main(["init", str(tmp_path / "s")]) == 0
    assert 'name    = "Me"' in (tmp_path / "s" / "shop.toml").read_text("utf-8")
