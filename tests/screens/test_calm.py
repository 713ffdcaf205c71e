"""A screen of testing is calm: a caution is read once, three ways stand below a field, the rest is folded."""

from __future__ import annotations

from ..visit.clutch import FINGERS
from .pages import Visit


def ways(html: str) -> int:
    """How many ways stand below the field without anything being opened."""
    nav = html.partition('aria-label="Other ways"')[2].partition("</nav>")[0]
    return nav.count("<a ") + html.count('<details class="way"')


def test_three_ways_at_most_stand_below_a_field_and_the_rest_is_one_tap_further(visit: Visit) -> None:
    for key in ("clutch.play", "clutch.sink", "clutch.fluid"):
        html = visit.get(f"test/{key}").html
        assert 1 <= ways(html) <= 3, key
        more = html.partition('<details class="more"><summary>More</summary>')[2]
        for words in ("I tried something", "Vehicle equipment"):
            assert words in more
    guided = visit.get("test?about=clutch").html
    assert 1 <= ways(guided) <= 3
    assert "Short of time?" in guided.partition('<details class="more">')[2]


def test_a_caution_that_was_read_is_folded_so_that_the_field_stands_in_sight(visit: Visit) -> None:
    before = visit.get("test/clutch.play").html
    assert FINGERS in before.partition('<details class="gate"')[0]
    assert 'class="known"' not in before
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "clear"}]}])
    after = visit.get("test/clutch.play").html
    assert FINGERS in after.partition('<details class="known"')[2].partition("</details>")[0]
    assert 'class="gate"' not in after
