"""A module of others that is loaded when something of it is used."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest

from corekit.report.when_used import load_when_used


@pytest.fixture
def heavy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A module that notes how often it is loaded."""
    (tmp_path / "heavy_part.py").write_text(
        "import heavy_count, time\ntime.sleep(0.05)\nheavy_count.times += 1\n"
        "SIZE = 3\ndef doubled(number):\n    return 2 * number\n"
    )
    (tmp_path / "heavy_count.py").write_text("times = 0\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    for name in ("heavy_part", "heavy_count"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    yield "heavy_part"
    for name in ("heavy_part", "heavy_count"):
        sys.modules.pop(name, None)


def times() -> int:
    import heavy_count  # type: ignore[import-not-found]

    return int(heavy_count.times)


def test_it_is_loaded_once_and_not_before_something_of_it_is_used(heavy: str) -> None:
    load_when_used(heavy, ("doubled",))
    import heavy_part  # type: ignore[import-not-found]
    from heavy_part import doubled

    assert times() == 0
    assert (doubled(4), heavy_part.SIZE, heavy_part.doubled(5)) == (8, 3, 10)
    import heavy_part as again

    assert (again.SIZE, times()) == (3, 1)
    assert again is sys.modules[heavy] is not heavy_part


def test_what_it_has_not_is_refused_as_ever(heavy: str) -> None:
    load_when_used(heavy)
    import heavy_part

    with pytest.raises(AttributeError, match="'heavy_part' has no attribute 'weight'"):
        _ = heavy_part.weight


def test_threads_that_use_it_first_at_once_get_the_whole_of_it(heavy: str) -> None:
    load_when_used(heavy)
    import heavy_part

    begin, sizes = threading.Barrier(8), []

    def use() -> None:
        begin.wait()
        sizes.append(heavy_part.SIZE)

    threads = [threading.Thread(target=use) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (sizes, times()) == ([3] * 8, 1)


def test_what_is_loaded_already_or_not_installed_is_left_alone(heavy: str) -> None:
    import heavy_part

    load_when_used(heavy)
    assert sys.modules[heavy] is heavy_part
    load_when_used("no_such_part")
    with pytest.raises(ModuleNotFoundError):
        import no_such_part  # type: ignore[import-not-found]  # noqa: F401


def test_one_that_cannot_be_loaded_says_so_each_time(heavy: str, tmp_path: Path) -> None:
    (tmp_path / "heavy_part.py").write_text("raise ImportError('a library is missing')\n")
    load_when_used(heavy)
    import heavy_part

    for _ in range(2):
        with pytest.raises(ImportError, match="a library is missing"):
            _ = heavy_part.SIZE
