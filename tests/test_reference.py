from __future__ import annotations

from pathlib import Path

import pytest

from corekit import reference
from corekit.datafile import read_toml
from corekit.fault import DataFileError
from corekit.model.source import Basis, Status
from corekit.reference import data_path, sources

GOOD = '[[source]]\nkey = "a"\ntitle = "T"\nwhere = "p. 3"\nbasis = "handbook"\nstatus = "read"\n'


def test_a_checkout_keeps_its_data_beside_pyproject() -> None:
    assert data_path("shared/units.toml").is_file()


def test_data_inside_the_package_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "corekit"
    (package / "shared").mkdir(parents=True)
    (tmp_path / "shared").mkdir()
    (tmp_path / "pyproject.toml").touch()
    monkeypatch.setattr(reference, "_PACKAGE", package)
    assert data_path("shared") == package / "shared"


def test_a_folder_beside_the_package_counts_only_in_a_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "shared").mkdir()
    monkeypatch.setattr(reference, "_PACKAGE", tmp_path / "corekit")
    with pytest.raises(DataFileError, match="install corekit again"):
        data_path("shared")


@pytest.mark.parametrize(
    "name", ["elsewhere", "shared/../pyproject.toml", "/etc/passwd", "", "shared//x", "shared/nothing.toml"]
)
def test_what_is_not_among_the_data_is_one_clear_error(name: str) -> None:
    with pytest.raises(DataFileError):
        data_path(name)


@pytest.mark.parametrize(
    ("content", "says"),
    [(None, "cannot be read"), (b"\xff\xfe", "not UTF-8"), (b"a = \n", "line 1, column 5")],
    ids=["missing", "encoding", "syntax"],
)
def test_a_data_file_that_cannot_be_used_says_which_and_why(
    tmp_path: Path, content: bytes | None, says: str
) -> None:
    path = tmp_path / "x.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(DataFileError) as caught:
        read_toml(path)
    assert says in str(caught.value) and str(path) in str(caught.value)


def test_sources_come_by_key_with_basis_and_status(tmp_path: Path) -> None:
    path = tmp_path / "sources.toml"
    path.write_text(GOOD, "utf-8")
    (one,) = sources(path).values()
    assert (one.key, one.basis, one.status, one.named) == ("a", Basis.HANDBOOK, Status.READ, "T, p. 3")
    assert sources(path) is sources(path)


def test_every_bad_source_is_named_at_once(tmp_path: Path) -> None:
    path = tmp_path / "sources.toml"
    path.write_text(
        GOOD
        + '[[source]]\nkey = "a"\ntitle = "T"\nbasis = "law"\nstatus = "read"\n'
        + '[[source]]\nkey = "b"\ntitle = "T"\nbasis = "gospel"\nstatus = "read"\n'
        + '[[source]]\nkey = "c"\nbasis = "law"\nstatus = "read"\n'
        + '[[source]]\nkey = "d"\ntitle = "T"\nbasis = "law"\nstatus = "read"\npage = "3"\n'
        + '[[source]]\nkey = "e"\ntitle = 5\nbasis = "law"\nstatus = "seen"\n',
        "utf-8",
    )
    with pytest.raises(DataFileError) as caught:
        sources(path)
    faults = str(caught.value)
    for part in [
        'source[1].key (a): "a" is the key of an earlier source',
        'source[2].basis (b): is the text "gospel"; expected one of "standard", "law", "handbook", "maker",',
        "source[3].title (c): is missing",
        "source[4].page (d): is not a key here; expected one of"
        " key, title, basis, status, where, address, note",
        "source[5].title (e): is the number 5; write",
        'source[5].status (e): is the text "seen"; expected one of "read",',
    ]:
        assert part in faults


def test_every_source_file_of_the_core_can_be_read() -> None:
    for path in data_path("shared").glob("*sources*.toml"):
        assert sources(path)
