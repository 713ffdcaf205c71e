"""DEVELOPERS.md shows the example plugin as it is, and names exactly the hooks that exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import corekit as ck
from corekit import testing
from corekit.plugin import hookspecs

from ..reference_table import lines, written

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PLUGIN = ROOT / "demo" / "brakes"
BLOCKS = re.findall(r"```(python|toml)\n(.*?)```", GUIDE, re.DOTALL)
FILES = "\n".join(
    path.read_text("utf-8") for path in sorted(PLUGIN.rglob("*")) if path.suffix in (".py", ".toml")
)


@pytest.mark.parametrize(
    "block", [text for _, text in BLOCKS], ids=[text.split("\n", 1)[0][:40] for _, text in BLOCKS]
)
def test_a_block_of_the_guide_stands_in_the_example_plugin_word_for_word(block: str) -> None:
    wanted = [line for line in block.strip("\n").split("\n") if line.strip()]
    there = [line for line in FILES.split("\n") if line.strip()]
    assert any(there[place : place + len(wanted)] == wanted for place in range(len(there))), block


def test_the_guide_has_blocks_at_all() -> None:
    assert len(BLOCKS) >= 10


def test_the_reference_is_what_the_code_says_of_every_public_name() -> None:
    assert written(GUIDE) == GUIDE, "python tests/reference_table.py --write"
    rows = re.findall(r"^\| `([^`]+)` \| (.*) \|$", "\n".join(lines()), re.MULTILINE)
    assert [name for name, words in rows if not words] == []
    named = {name.split("(")[0] for name, _ in rows}
    assert named >= {name for name in (*ck.__all__, *testing.__all__) if not name.startswith("__")}


def test_the_guide_has_a_section_for_each_subject_in_the_order_of_the_path() -> None:
    path = GUIDE.split("# Write a plugin\n")[1].split("# Change the core\n")[0]
    assert re.findall(r"^## \d+ (.+)$", path, re.MULTILINE) == [
        "A first plugin in ten minutes",
        "What can be measured, seen and done",
        "Calculations",
        "Checks and verdicts",
        "Symptoms, fault tables, trials",
        "Figures",
        "Two voices and languages",
        "Testing",
        "Publishing",
        "Reference",
    ]


def test_every_hook_is_named_in_the_guide_and_every_hook_named_exists() -> None:
    exist = {name for name in vars(hookspecs) if name.startswith("corekit_")}
    named = set(re.findall(r"^\| `(corekit_\w+)`", GUIDE, re.MULTILINE))
    assert named == exist
