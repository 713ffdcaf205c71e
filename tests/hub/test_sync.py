"""Vans and their hub: the union of what all wrote, each entry once, whole on both sides."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import attrs
import pytest

from corekit.errors import CorekitError
from corekit.hub import devices, record
from corekit.hub.app import Hub, open_hub
from corekit.hub.errors import HubError, UnknownDeviceError
from corekit.hub.sealing import hub_key
from corekit.model.records import DrawerNoted
from corekit.store.errors import ForkError
from corekit.store.store import Store
from corekit.sync.message import SyncError, base32

from ..store.conftest import reading, said
from ..store.writing import append
from .conftest import VanAt, enrol

NewVan = Callable[[str], VanAt]


def faults(hub: Hub) -> list[str]:
    return record.faults(hub.database, hub.key)


def arrived(hub: Hub) -> list[str]:
    with hub.database.line() as line:
        return [str(id_) for (id_,) in line.execute("SELECT id FROM entry ORDER BY arrived")]


def test_what_two_vans_wrote_is_on_the_hub_and_on_both_each_entry_once(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    assert (a.letters, b.letters) == ("A", "B")
    a.begin("first")
    b.begin("second")
    first = a.sync()
    assert (first.came, first.went) == (0, 4)
    second = b.sync()
    assert (second.came, second.went, second.vans["A"]) == (4, 4, "one")
    assert (a.sync().came, a.sync().came) == (4, 0)
    assert b.sync().came == 0
    for van in (a, b):
        assert van.store.verify() == []
        assert {
            entry.id
            for job in van.store._connection.execute("SELECT DISTINCT job FROM entry")
            for entry in van.store.journal(job[0])
        } == set(arrived(hub))
    assert len(arrived(hub)) == 8
    assert faults(hub) == []


def test_each_van_sends_what_it_noted_of_its_cash_drawer_again_and_again(hub: Hub, new_van: NewVan) -> None:
    """It is of no job, so nobody hands it on."""
    vans = [new_van("one"), new_van("two")]
    for amount in (5000, 2000):
        for van in vans:
            with van.store.transaction() as transaction:
                chain = f"books/{van.letters}/2026"
                transaction.append_drawer(chain, DrawerNoted(amount=amount, currency="EUR", because="change"))
            assert van.sync().went == 1
    for van in vans:
        van.sync()
        assert van.store.verify() == []
    assert len(arrived(hub)) == 4
    assert faults(hub) == []


def test_persons_go_to_the_van_whose_job_it_is_and_to_no_other(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    job = a.begin("first", "Only Here")
    a.sync()
    b.sync()
    assert b.store.texts(b.store.job(job).persons()) == {}
    a.hand(job, "B")
    a.sync()
    done = b.sync()
    assert done.handed == (job,)
    assert "Only Here" in b.store.texts(b.store.job(job).persons()).values()
    append(b.store, job, [said("measured", "first:v/#2", reading("12.60 V"))])
    b.sync()
    a.sync()
    assert a.store.job(job) == b.store.job(job)
    assert a.store.verify() == b.store.verify() == faults(hub) == []


def test_names_and_plates_cannot_be_read_in_the_database(hub: Hub, new_van: NewVan) -> None:
    a = new_van("one")
    a.begin("first", "Only Here")
    a.sync()
    with hub.database.line() as line:
        tables = [
            str(name)
            for (name,) in line.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        ]
        found = ""
        for table in tables:
            found += repr(line.execute(f"SELECT * FROM {table}".encode()).fetchall())
    assert len(tables) > 8
    for secret in ("Only Here", "only", "DEMO-first", "demofirst", "Rattles"):
        assert secret not in found
        assert secret.encode().hex() not in found
    assert a.line.key.secret.hex() not in found


def test_another_key_is_refused_before_anything_is_written(hub: Hub, tmp_path: Path) -> None:
    with pytest.raises(HubError, match="another key"):
        open_hub(hub.database.address, hub_key(tmp_path / "other.key"))


def test_a_demo_and_a_real_shop_never_share_a_hub(hub: Hub) -> None:
    with pytest.raises(HubError, match="never share"):
        open_hub(hub.database.address, hub.key, demo=True)


def test_forgetting_on_one_van_reaches_the_hub_and_every_van(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    job = a.begin("first", "Only Here")
    a.hand(job, "B")
    a.sync()
    b.sync()
    a.store.forget(job)
    a.sync()
    with hub.database.line() as line:
        assert line.execute("SELECT count(*) FROM person WHERE job = %s", (job,)).fetchone() == (0,)
        words = {bytes(word) for (word,) in line.execute("SELECT word FROM job_word WHERE job = %s", (job,))}
    assert hub.key.word("first") in words, "its name stays in the record"
    assert not words & {hub.key.word("only"), hub.key.word("demofirst")}
    done = b.sync()
    assert done.forgotten == (job,)
    assert b.store.texts(b.store.job(job).persons()) == {}
    a.sync()
    assert a.store.verify() == b.store.verify() == faults(hub) == []


def test_a_van_that_was_away_sends_nothing_of_whom_the_others_forgot(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    job = a.begin("first", "Only Here")
    a.hand(job, "B")
    a.sync()
    b.sync()
    from corekit.model.personal import PersonalText
    from corekit.model.records import Customer

    append(b.store, job, [said("customer", "first:c/#2", Customer(phone=PersonalText("phone", "000 0001")))])
    a.store.forget(job)
    a.sync()
    b.sync()
    with hub.database.line() as line:
        assert line.execute("SELECT count(*) FROM person WHERE job = %s", (job,)).fetchone() == (0,)
    a.sync()
    assert a.store.verify() == b.store.verify() == faults(hub) == []


def test_two_vans_that_say_two_things_of_one_are_a_dispute_on_all_sides(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    job = a.begin("first")
    a.sync()
    b.sync()
    wrong = next(entry for entry in a.store.job(job).entries if entry.kind == "measured")
    append(a.store, job, [said("measured", wrong.subject, reading("12.50 V"), replaces=(wrong.id,))])
    a.hand(job, "B")
    a.sync()
    b.sync()
    first = next(entry for entry in b.store.job(job).entries if entry.n == wrong.n)
    append(b.store, job, [said("measured", wrong.subject, reading("11.90 V"), replaces=(first.id,))])
    b.sync()
    a.sync()
    for van in (a, b):
        (dispute,) = van.store.job(job).disputes
        assert dispute.subject == wrong.subject
        assert len(dispute.entries) == 2
    with hub.database.line() as line:
        assert line.execute("SELECT disputes FROM job WHERE id = %s", (job,)).fetchone() == (1,)
    assert a.store.verify() == b.store.verify() == faults(hub) == []


def test_a_device_that_was_revoked_is_let_in_no_more_and_what_it_wrote_stays(
    hub: Hub, new_van: NewVan
) -> None:
    a = new_van("one")
    a.begin("first")
    a.sync()
    devices.revoke(hub.database, "A", datetime(2026, 3, 2, tzinfo=UTC))
    a.begin("second")
    with pytest.raises(SyncError, match="revoked"):
        a.sync()
    assert len(arrived(hub)) == 4
    assert len(a.store.jobs()) == 2


def test_who_has_another_key_is_not_taken_for_the_device(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    a.line = attrs.evolve(a.line, key=b.line.key)
    with pytest.raises(SyncError, match="does not know this device"):
        a.sync()


def test_a_device_writes_in_no_chain_of_another(hub: Hub, new_van: NewVan) -> None:
    a, b = new_van("one"), new_van("two")
    a.begin("first")
    a.sync()
    a.begin("second")
    own = {chain: n for chain, (n, _) in chains(hub, "A").items()}
    parcel = a.store.parcel_behind(own)
    with pytest.raises(HubError, match="is written by device A"):
        record.accepted(hub.database, hub.key, b.letters, parcel)
    assert len(arrived(hub)) == 4


def chains(hub: Hub, device: str) -> dict[str, tuple[int, str]]:
    with hub.database.line() as line:
        return record.chains_of(line, device)


def test_a_signed_request_is_good_for_its_path_body_and_a_few_minutes(hub: Hub, new_van: NewVan) -> None:
    from corekit.sync.message import signed_text

    a = new_van("one")
    given = devices.challenge(hub.key, "A", now=1000.0)
    signature = a.line.key.sign(signed_text("POST", "/sync/pull", "A", given, b"body")).hex()

    def asks(**more: object) -> str:
        told = {"letters": "A", "given": given, "signature": signature, "path": "/sync/pull", "body": b"body"}
        return devices.device_of(hub.database, hub.key, **{**told, "now": 1300.0, **more})  # type: ignore[arg-type]

    assert asks() == "A"
    for wrong in (
        {"now": 1302.0},
        {"path": "/sync/push"},
        {"body": b"bodY"},
        {"letters": "B"},
        {"given": "x"},
    ):
        with pytest.raises(UnknownDeviceError):
            asks(**wrong)


def test_a_code_enrols_one_device_once(hub: Hub) -> None:
    code = devices.invited(hub.database, "Van 1")
    key = base32(bytes(range(32)))
    moment = datetime(2026, 3, 1, tzinfo=UTC)
    assert len(code.replace("-", "")) == devices.CODE_LETTERS
    with pytest.raises(UnknownDeviceError):
        devices.enrolled(hub.database, "0000-0000-0000", key, wish="A", books=[], now=moment)
    typed = code.lower().replace("-", " ")
    assert devices.enrolled(hub.database, typed, key, wish="A", books=[], now=moment) == ("A", "Van 1", ())
    with pytest.raises(UnknownDeviceError):
        devices.enrolled(hub.database, code, key, wish="A", books=[], now=moment)


def test_letters_under_which_another_van_issued_are_given_to_no_second_one(hub: Hub, new_van: NewVan) -> None:
    a = new_van("one")
    a.bill(a.begin("first"))
    a.sync()
    code = devices.invited(hub.database, "two")
    with pytest.raises(HubError, match="another device's"):
        devices.enrolled(
            hub.database, code, base32(bytes(32)), wish="A", books=["A"], now=datetime(2026, 3, 1, tzinfo=UTC)
        )
    letters, *_ = devices.enrolled(
        hub.database, code, base32(bytes(32)), wish="A", books=[], now=datetime(2026, 3, 1, tzinfo=UTC)
    )
    assert letters == "B", "a refusal uses no code up"


def test_invoices_of_all_vans_have_numbers_of_their_own(hub: Hub, new_van: NewVan) -> None:
    vans = [new_van(name) for name in ("one", "two", "three")]
    numbers = [van.bill(van.begin(f"{van.letters}{n}")) for van in vans for n in range(3)]
    assert len(set(numbers)) == 9
    for van in (*vans, *vans):
        van.sync()
    with hub.database.line() as line:
        found = sorted(str(number) for (number,) in line.execute("SELECT number FROM invoice"))
    assert found == sorted(numbers)
    assert faults(hub) == []
    assert all(van.store.verify() == [] for van in vans)


def test_an_older_copy_of_a_van_is_refused_and_goes_on_in_the_place_of_the_lost_one(
    hub: Hub, new_van: NewVan, address: str, tmp_path: Path
) -> None:
    a, b = new_van("one"), new_van("two")
    job = a.begin("first", "Only Here")
    a.sync()
    a.store.copy_to(tmp_path / "copy.corekit")
    append(a.store, job, [said("measured", "first:v/#2", reading("12.70 V"))])
    number = a.bill(job)
    a.sync()
    b.begin("of b")
    b.sync()
    with Store.open(tmp_path / "copy.corekit") as copy:
        older = VanAt(copy, a.line)
        with pytest.raises(SyncError, match="older copy"):
            older.sync()
        copy.continue_restored()
        again = enrol(copy, hub, address, "one again", wish=copy.device, instead_of="A")
        assert again.letters not in ("A", "B")
        again.sync()
        assert [noted.record.typed for noted in copy.job(job).measured(0)] == ["12.40 V", "12.70 V"]
        assert copy.invoice(number).body["number"] == number
        assert "Only Here" in copy.texts(copy.job(job).persons()).values()
        assert copy.verify() == []
        second = again.bill(again.begin("next"))
        again.sync()
        assert second != number
    with pytest.raises(SyncError, match="revoked"):
        a.sync()
    b.sync()
    assert b.store.verify() == faults(hub) == []


def test_a_number_that_two_vans_could_give_is_refused_by_the_hub(hub: Hub, new_van: NewVan) -> None:
    from ..store.conftest import invoice
    from ..store.writing import issue

    a, b = new_van("one"), new_van("two")
    for van in (a, b):
        issue(
            van.store, van.begin("first"), f"books/{van.letters}/2026", lambda place: invoice(place, "2026-")
        )
    a.sync()
    said_so = r"number is taken by another van.*device"
    with pytest.raises(ForkError, match=said_so):
        b.sync()
    with pytest.raises(HubError, match=said_so):
        record.accepted(hub.database, hub.key, "B", b.store.parcel_behind({}))
    assert faults(hub) == []


def test_what_is_no_parcel_and_what_was_changed_on_its_way_is_refused(hub: Hub, new_van: NewVan) -> None:
    a = new_van("one")
    a.begin("first")
    data = a.store.parcel_behind({}).data()
    data["entries"][3]["body"]["typed"] = "13.40 V"
    with pytest.raises(SyncError, match="does not match its id"):
        a.line.ask("/sync/push", data)
    with pytest.raises(SyncError, match="no parcel"):
        a.line.ask("/sync/push", {"entries": 1})
    with pytest.raises(CorekitError):
        a.line.ask("/sync/push", [])
    assert arrived(hub) == []
