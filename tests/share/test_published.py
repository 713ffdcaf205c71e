"""Published documents: once, whole, masked, for a time; and the way to where they are served."""

from __future__ import annotations

import json
import os
import socket
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit import files
from corekit.model.canonical import canonical, digest
from corekit.model.document import Document, DocumentKind, Pairs, document_hash, to_data
from corekit.model.personal import Personal, PersonalText
from corekit.share import published
from corekit.share.link import token, token_hash
from corekit.share.published import (
    LIFE,
    PublishedFolder,
    PublishError,
    open_envelope,
    publish_to,
    seal_envelope,
    withdraw_from,
)

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
NAME = token_hash(token(bytes(range(32)), "d1", 1))
OTHER = token_hash(token(bytes(range(32)), "d1", 2))
BEARER = "a-key-for-publishing-of-the-tests"


def paper(**changes: Any) -> Document:
    simple = Document(
        id="d1",
        kind=DocumentKind.INVOICE,
        title="Invoice 1",
        number="1",
        shop="Example Mobile Repairs",
        issued="1 July 2026",
        currency="EUR",
        total="60.00",
        blocks=(Pairs(rows=(("Customer", (Personal("name", "ab" * 32),)),)),),
    )
    return attrs.evolve(simple, **changes)


@pytest.fixture
def folder(tmp_path: Path) -> PublishedFolder:
    return PublishedFolder(tmp_path / "published")


def put(folder: PublishedFolder, document: Document | None = None, name: str = NAME, **moments: Any) -> str:
    return folder.put(name, seal_envelope(document or paper(), **({"published": NOON} | moments)))


# The envelope


def test_an_envelope_gives_back_the_document_and_its_two_moments() -> None:
    found = open_envelope(seal_envelope(paper(), published=NOON))
    assert found.document == paper()
    assert document_hash(found.document) == document_hash(paper())
    assert (found.published, found.expires) == (NOON, NOON + LIFE)
    assert timedelta(days=730) <= LIFE <= timedelta(days=731)  # two years


def test_an_envelope_names_a_person_by_kind_and_hash_only() -> None:
    data = json.loads(seal_envelope(paper(), published=NOON))
    assert data["document"]["blocks"][0]["rows"][0][1] == [{"personal": "name", "hash": "ab" * 32}]
    assert set(data) == {"document", "published", "expires", "seal"}


def test_a_persons_own_text_has_no_way_into_an_envelope() -> None:
    told = paper(blocks=(Pairs(rows=(("Customer", (PersonalText("name", "Example Customer"),)),)),))  # type: ignore[arg-type]
    with pytest.raises((PublishError, ValueError, TypeError, AttributeError)):
        seal_envelope(told, published=NOON)


def test_a_draft_is_not_published(folder: PublishedFolder) -> None:
    with pytest.raises(PublishError, match="draft"):
        seal_envelope(paper(draft=True), published=NOON)
    content = {
        "document": to_data(paper(draft=True)),
        "published": "2026-07-01T12:00:00Z",
        "expires": "2028-07-01T12:00:00Z",
    }
    with pytest.raises(PublishError, match="draft"):
        folder.put(NAME, canonical({**content, "seal": digest(content)}))


def test_moments_need_a_time_zone_and_an_order() -> None:
    with pytest.raises(PublishError, match="time zone"):
        seal_envelope(paper(), published=NOON.replace(tzinfo=None))
    with pytest.raises(PublishError, match="expire"):
        seal_envelope(paper(), published=NOON, expires=NOON)


def sealed(**changes: Any) -> bytes:
    content = {
        "document": to_data(paper()),
        "published": "2026-07-01T12:00:00Z",
        "expires": "2028-07-01T12:00:00Z",
    } | changes
    return canonical({**content, "seal": digest(content)})


BAD_ENVELOPES = {
    "nothing": b"",
    "no JSON": b"hello",
    "no UTF-8": b"\xff\xfe{}",
    "a list": b"[]",
    "deep": b"[" * 100_000,
    "a number that is none": b'{"document": NaN, "published": 1, "expires": 1, "seal": 1}',
    "a key twice": sealed().replace(b'{"document"', b'{"seal":"x","document"', 1),
    "a field too many": sealed(token="A" * 26),
    "a field too few": canonical({"document": to_data(paper())}),
    "no document": sealed(document={"id": "x"}),
    "a document that is text": sealed(document="x"),
    "a document with more in it": sealed(document={**to_data(paper()), "plate": "DEMO-1"}),
    "a number where text belongs": sealed(document={**to_data(paper()), "title": 5}),
    "a moment that is none": sealed(expires="soon"),
    "a moment without a zone": sealed(expires="2028-07-01T12:00:00"),
    "a moment that is a number": sealed(expires=5),
    "too large": b" " * 1_000_001,
    "a changed total": sealed().replace(b"60.00", b"66.00"),
    "a later end": sealed().replace(b"2028-07", b"2099-07"),
    "a lone surrogate": sealed().replace(b'"Invoice 1"', b'"\\ud800"'),
}


@pytest.mark.parametrize("what", BAD_ENVELOPES)
def test_an_envelope_that_is_not_right_is_refused_and_nothing_is_kept(
    folder: PublishedFolder, what: str
) -> None:
    with pytest.raises(PublishError):
        folder.put(NAME, BAD_ENVELOPES[what])
    assert not folder.path.exists()


# The folder


def test_what_was_put_can_be_got(folder: PublishedFolder) -> None:
    assert put(folder) == "new"
    found = folder.get(NAME, NOON)
    assert found is not None
    assert found.document == paper()
    assert folder.get(OTHER, NOON) is None


def test_the_same_document_again_is_the_same_even_when_it_is_sent_later(folder: PublishedFolder) -> None:
    put(folder)
    before = (folder.path / f"{NAME}.json").read_bytes()
    assert put(folder) == "same"
    assert put(folder, published=NOON + timedelta(days=3)) == "same"
    assert (folder.path / f"{NAME}.json").read_bytes() == before


def test_another_document_under_the_same_link_is_refused(folder: PublishedFolder) -> None:
    put(folder)
    with pytest.raises(PublishError, match="never changes") as caught:
        put(folder, paper(total="61.00"))
    assert caught.value.taken
    assert not caught.value.later
    found = folder.get(NAME, NOON)
    assert found is not None
    assert found.document.total == "60.00"


@pytest.mark.parametrize(
    "name",
    [
        "",
        "A" * 26,
        "ab" * 31,
        "AB" * 32,
        "../" + "a" * 61,
        "a" * 63 + "/",
        "a" * 63 + "\0",
        "ab" * 32 + "\n",
        ".." + "a" * 62,
        "g" * 64,
    ],
)
def test_a_name_that_is_no_token_hash_reaches_no_file(folder: PublishedFolder, name: str) -> None:
    with pytest.raises(PublishError, match="64 hexadecimal"):
        put(folder, name=name)
    with pytest.raises(PublishError, match="64 hexadecimal"):
        folder.withdraw(name)
    assert folder.get(name, NOON) is None
    assert not folder.path.exists()


def test_there_is_nothing_from_the_moment_of_expiry_on(folder: PublishedFolder) -> None:
    put(folder, expires=NOON + timedelta(hours=1))
    assert folder.get(NAME, NOON + timedelta(minutes=59, seconds=59)) is not None
    assert folder.get(NAME, NOON + timedelta(hours=1)) is None


def test_a_withdrawn_document_is_gone_and_its_link_is_never_used_again(folder: PublishedFolder) -> None:
    put(folder)
    put(folder, name=OTHER)
    assert folder.withdraw(NAME) is True
    assert folder.withdraw(NAME) is False
    assert folder.get(NAME, NOON) is None
    assert folder.get(OTHER, NOON) is not None  # each link of a document is withdrawn alone
    with pytest.raises(PublishError, match="withdrawn") as caught:
        put(folder)
    assert caught.value.taken
    assert not (folder.path / f"{NAME}.json").exists()


def test_a_link_can_be_withdrawn_before_its_document_arrives(folder: PublishedFolder) -> None:
    assert folder.withdraw(NAME) is False
    with pytest.raises(PublishError, match="withdrawn"):
        put(folder)


def test_a_power_cut_in_the_middle_of_withdrawing_shows_nothing_any_more(
    folder: PublishedFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(folder)

    def cut(*_: Any, **__: Any) -> None:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as broken:
        broken.setattr(published, "flush_folder", cut)
        broken.setattr(Path, "exists", cut)
        with pytest.raises(PublishError, match="withdrawn"):
            folder.withdraw(NAME)
    assert (folder.path / f"{NAME}.json").exists()
    assert folder.get(NAME, NOON) is None
    assert folder.withdraw(NAME) is True
    assert not (folder.path / f"{NAME}.json").exists()


def test_a_sweep_takes_expired_documents_down_for_good_and_leftovers_away(folder: PublishedFolder) -> None:
    put(folder, expires=NOON + timedelta(days=1))
    put(folder, name=OTHER)
    old, young = folder.path / f"{files.TEMPORARY}old", folder.path / f"{files.TEMPORARY}young"
    old.write_bytes(b"half")
    os.utime(old, (0, 0))
    young.write_bytes(b"half")
    assert folder.sweep(NOON + timedelta(days=2)) == 1
    assert not (folder.path / f"{NAME}.json").exists()
    with pytest.raises(PublishError, match="withdrawn"):  # also for a clock that was set back
        put(folder)
    assert folder.get(OTHER, NOON) is not None
    assert not old.exists()
    assert young.exists()


def test_every_changed_byte_of_a_stored_file_is_noticed(folder: PublishedFolder) -> None:
    put(folder)
    place = folder.path / f"{NAME}.json"
    whole = place.read_bytes()
    for at in range(0, len(whole), 7):
        place.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        with pytest.raises(PublishError, match=NAME):
            folder.get(NAME, NOON)
    for at in range(0, len(whole), 97):
        place.write_bytes(whole[:at])
        with pytest.raises(PublishError, match=NAME):
            folder.get(NAME, NOON)


def test_of_many_who_publish_at_once_one_is_new_and_no_part_is_left(folder: PublishedFolder) -> None:
    answers: list[str] = []
    start = threading.Barrier(8)

    def send(total: str) -> None:
        start.wait()
        try:
            answers.append(put(folder, paper(total=total)))
        except PublishError:
            answers.append("refused")

    threads = [threading.Thread(target=send, args=("60.00" if n % 2 else "61.00",)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == ["new", *["refused"] * 4, *["same"] * 3]
    assert [file.name for file in folder.path.iterdir()] == [f"{NAME}.json"]


def test_a_document_is_on_disk_before_it_has_its_name_and_the_name_before_the_answer(
    folder: PublishedFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []

    def watched(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            done.append(
                name
                if name != "fsync"
                else "fsync folder"
                if Path(f"/proc/self/fd/{args[0]}").is_dir()
                else "fsync file"
            )
            return real(*args, **more)

        return call

    if not Path("/proc/self/fd").exists():
        if os.environ.get("COREKIT_CI") == "1":
            pytest.fail("no /proc here to tell files from folders")
        pytest.skip("no /proc here to tell files from folders")
    for name in ("fsync", "link"):
        monkeypatch.setattr(files.os, name, watched(name, getattr(os, name)))
    put(folder)
    assert done == ["fsync file", "link", "fsync folder"]


@pytest.mark.parametrize("step", ["fsync", "link", "open"])
def test_a_disk_that_refuses_leaves_the_folder_as_it_was_and_the_document_waits(
    folder: PublishedFolder, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    put(folder)

    def full(*_: Any, **__: Any) -> Any:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(files.os, step, full)
        if step == "link":
            broken.setattr(Path, "replace", full)
        with pytest.raises(PublishError, match="No space left") as caught:
            put(folder, name=OTHER)
    assert caught.value.later
    assert [file.name for file in folder.path.iterdir()] == [f"{NAME}.json"]
    assert put(folder, name=OTHER) == "new"


# The way there


def test_publishing_to_a_folder_takes_a_path_or_its_name(tmp_path: Path) -> None:
    envelope = seal_envelope(paper(), published=NOON)
    assert publish_to(tmp_path / "out", NAME, envelope) == "new"
    assert publish_to(str(tmp_path / "out"), NAME, envelope) == "same"
    withdraw_from(tmp_path / "out", NAME)
    assert PublishedFolder(tmp_path / "out").get(NAME, NOON) is None


@attrs.define
class Elsewhere:
    """A small HTTP server that answers as it is told and keeps what it was sent."""

    address: str
    status: int = 200
    body: bytes = b'{"answer": "new"}'
    headers: dict[str, str] = attrs.field(factory=dict)
    got: list[tuple[str, str, dict[str, str], bytes]] = attrs.field(factory=list)


@pytest.fixture
def elsewhere() -> Iterator[Elsewhere]:
    class Answering(BaseHTTPRequestHandler):
        def _answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            told.got.append((self.command, self.path, dict(self.headers), body))
            self.send_response(told.status)
            for name, value in told.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(told.body)))
            self.end_headers()
            self.wfile.write(told.body)

        do_GET = do_PUT = do_DELETE = _answer

        def log_message(self, *_: Any) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Answering)
    told = Elsewhere(f"http://127.0.0.1:{server.server_port}")
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    yield told
    server.shutdown()
    server.server_close()
    thread.join(10)


def test_a_document_goes_out_as_one_put_with_the_key_in_its_header(
    elsewhere: Elsewhere, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")  # a proxy has nothing to do with this machine
    envelope = seal_envelope(paper(), published=NOON)
    assert publish_to(elsewhere.address + "/", NAME, envelope, BEARER) == "new"
    [(method, path, headers, body)] = elsewhere.got
    assert (method, path, body) == ("PUT", f"/published/{NAME}", envelope)
    assert headers["Authorization"] == f"Bearer {BEARER}"


@pytest.mark.parametrize(
    ("status", "later", "about"),
    [
        (400, False, "version"),
        (401, False, "key"),
        (404, False, "address"),
        (409, False, "never changes"),
        (413, False, "large"),
        (429, True, "429"),
        (500, True, "500"),
        (503, True, "503"),
    ],
)
def test_a_refusal_says_what_to_do_and_whether_to_try_again(
    elsewhere: Elsewhere, status: int, later: bool, about: str
) -> None:
    elsewhere.status = status
    with pytest.raises(PublishError, match=about) as caught:
        publish_to(elsewhere.address, NAME, seal_envelope(paper(), published=NOON), BEARER)
    assert caught.value.later is later
    assert BEARER not in str(caught.value)


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_the_key_is_not_sent_on_to_another_address(elsewhere: Elsewhere, status: int) -> None:
    elsewhere.status, elsewhere.headers = status, {"Location": f"{elsewhere.address}/other"}
    with pytest.raises(PublishError, match="not sent on"):
        publish_to(elsewhere.address, NAME, seal_envelope(paper(), published=NOON), BEARER)
    assert len(elsewhere.got) == 1


@pytest.mark.parametrize(
    "body", [b"", b"<html>welcome", b"[]", b'{"answer": "perhaps"}', b'{"answer": ["new"]}', b"\xff"]
)
def test_an_answer_that_is_not_ours_is_no_success(elsewhere: Elsewhere, body: bytes) -> None:
    elsewhere.body = body
    with pytest.raises(PublishError, match="no page server"):
        publish_to(elsewhere.address, NAME, seal_envelope(paper(), published=NOON), BEARER)


def test_without_a_network_the_document_waits() -> None:
    with socket.create_server(("127.0.0.1", 0)) as held:
        port = held.getsockname()[1]
    with pytest.raises(PublishError, match="waits") as caught:
        publish_to(f"http://127.0.0.1:{port}", NAME, seal_envelope(paper(), published=NOON), BEARER)
    assert caught.value.later


def test_a_server_that_never_answers_is_given_up() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as silent,
        pytest.raises(PublishError, match="waits") as caught,
    ):
        publish_to(
            f"http://127.0.0.1:{silent.getsockname()[1]}",
            NAME,
            seal_envelope(paper(), published=NOON),
            BEARER,
            timeout=0.2,
        )
    assert caught.value.later


@pytest.mark.parametrize(
    "reply", [b"SSH-2.0-other\r\n", b"HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\n{", b""]
)
def test_a_server_that_speaks_otherwise_is_named(reply: bytes) -> None:
    with socket.create_server(("127.0.0.1", 0)) as odd:

        def answer() -> None:
            peer, _ = odd.accept()
            with peer:
                peer.recv(65536)
                peer.sendall(reply)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        with pytest.raises(PublishError, match="page server"):
            publish_to(
                f"http://127.0.0.1:{odd.getsockname()[1]}",
                NAME,
                seal_envelope(paper(), published=NOON),
                BEARER,
                timeout=5,
            )
        thread.join(10)


@pytest.mark.parametrize(
    ("target", "about"),
    [
        ("http://papers.some-shop.com", "https only"),
        ("http://192.168.0.5:8741", "https only"),
        ("ftp://papers.some-shop.com", "no address"),
        ("file:///nowhere/x", "no address"),
        ("https://", "no address"),
        ("https://me:pw@some-shop.com", "no address"),
        ("https://some-shop.com?x", "no address"),
        ("https://[::1", "no address"),
        ("https://some shop.com", "no address"),
        ("http://127.0.0.1@some-shop.com", "no address"),
        ("https://some-shop.com\r\nX: y", "no address"),
    ],
)
def test_the_key_goes_to_no_address_that_could_give_it_away(
    monkeypatch: pytest.MonkeyPatch, target: str, about: str
) -> None:
    def no_network(*_: Any, **__: Any) -> Any:
        raise AssertionError("this address must not be called")

    monkeypatch.setattr(published.urllib.request, "build_opener", no_network)
    with pytest.raises(PublishError, match=about):
        publish_to(target, NAME, seal_envelope(paper(), published=NOON), BEARER)


@pytest.mark.parametrize(
    "bearer",
    [
        None,
        "",
        "short",
        "with a space in it somewhere",
        "line\r\nX-Injected: yes-and-long-enough",
        "ümlaut-and-long-enough",
    ],
)
def test_a_key_that_cannot_travel_in_a_header_is_refused_before_anything_is_sent(
    elsewhere: Elsewhere, bearer: str | None
) -> None:
    with pytest.raises(PublishError, match="key for publishing"):
        publish_to(elsewhere.address, NAME, seal_envelope(paper(), published=NOON), bearer)
    assert elsewhere.got == []


def test_a_broken_envelope_is_not_sent(elsewhere: Elsewhere) -> None:
    with pytest.raises(PublishError):
        publish_to(elsewhere.address, NAME, b"{}", BEARER)
    with pytest.raises(PublishError, match="64 hexadecimal"):
        publish_to(elsewhere.address, "x/../y", seal_envelope(paper(), published=NOON), BEARER)
    assert elsewhere.got == []
