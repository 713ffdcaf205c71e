"""Customers from a CSV: taken in whole or not at all, found by what is typed, gone with `forget`."""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.cli import main
from corekit.desk.customers import (
    CUSTOMER_FILE,
    MOST_ROWS,
    CustomerListError,
    found_customers,
    listed_customers,
    read_customers,
    take_in,
)
from corekit.desk.forgetting import forget
from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from .visits_by_answer import answered, demo_shop

LIST = (
    "name,phone,address,plate,vehicle\n"
    'Example Keeper,+49 171 5550123,"2 Invented Road, Sampleton",AB-12 CD,estate\n'
    "Łucja Sample,0171 5559999,,,\n"
)


def test_a_customer_is_found_by_plate_by_phone_in_any_writing_and_by_the_beginnings_of_the_name(
    tmp_path: Path,
) -> None:
    assert take_in(tmp_path, LIST.encode(), "old.csv") == 2
    for asked in ({"plate": "ab12cd"}, {"phone": "0171/5550123"}, {"name": "keep exam"}):
        assert [one.name for one in found_customers(tmp_path, **asked)] == ["Example Keeper"]
    assert [one.name for one in found_customers(tmp_path, name="łuc")] == ["Łucja Sample"]


@pytest.mark.parametrize(
    "asked", [{"name": "ex"}, {"phone": "5550123"}, {"plate": "ab"}, {"name": "nobody"}, {}]
)
def test_nobody_is_found_by_too_little_or_by_something_else(tmp_path: Path, asked: dict[str, str]) -> None:
    take_in(tmp_path, LIST.encode(), "old.csv")
    assert found_customers(tmp_path, **asked) == []


def test_taken_in_again_everybody_is_there_once(tmp_path: Path) -> None:
    take_in(tmp_path, LIST.encode(), "old.csv")
    assert take_in(tmp_path, LIST.replace(",", ";").replace("; S", ", S").encode("utf-8-sig"), "new.csv") == 2
    assert len(listed_customers(tmp_path)) == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the first row names the columns"),
        ("name,shoe size\nA,42\n", "shoe size"),
        ("address\nB\n", "name or phone"),
        ("name,phone\nA\n", "row 2 has 1 cells"),
        ("name,phone\n,\n \n,1 \nA,B\x1b\n", "U+001B"),
        ("name,email\n,a@b\n", "neither a name nor a phone"),
        ('name\n"A\n', "no CSV"),
        ("name\n" + "A\n" * (MOST_ROWS + 1), "at most 20000"),
        ("name,phone\n" + "A\n" * 1_500_000, "more than 40000 lines"),
        ("name,phone\n" + "\n" * 40_000, "more than 40000 lines"),
    ],
)
def test_a_list_with_a_fault_is_not_taken_in_and_says_where(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(CustomerListError) as caught:
        take_in(tmp_path, text.encode(), "old.csv")
    assert words in str(caught.value)
    assert not (tmp_path / CUSTOMER_FILE).exists()


def test_empty_lines_between_customers_are_no_fault() -> None:
    assert len(read_customers(b"name\n" + b"A\n\n" * 19_999, "old.csv")) == 19_999


def test_every_faulty_row_is_named_at_once() -> None:
    with pytest.raises(CustomerListError) as caught:
        read_customers(b"name,phone\nA\nB\n", "old.csv")
    assert "row 2" in str(caught.value) and "row 3" in str(caught.value)


def test_what_is_not_utf_8_says_how_to_save_it(tmp_path: Path) -> None:
    with pytest.raises(CustomerListError, match="UTF-8"):
        take_in(tmp_path, "name\nGrün\n".encode("latin-1"), "old.csv")


def test_the_verb_takes_a_list_in_and_the_new_job_offers_and_fills_it_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with demo_shop(tmp_path / "shop") as shop:
        folder = shop.context.folder
    (tmp_path / "old.csv").write_text(LIST, "utf-8")
    assert main(["customers", str(tmp_path / "old.csv"), "--shop", str(folder)]) == 0
    assert "2 customers" in capsys.readouterr().out
    with Shop(folder) as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        typed = client.post("/job/abcdefghjkmn/arrive/try", data={"customer.phone": "01715550123"}).text
        assert "On your list: Example Keeper" in typed
        (row,) = found_customers(folder, phone="01715550123")
        assert f"/new?listed={row.id}" in typed
        filled = client.get(f"/new?listed={row.id}").text
        for text in ("Example Keeper", "+49 171 5550123", "2 Invented Road, Sampleton", "AB-12 CD", "estate"):
            assert text in filled
        assert client.get("/new?listed=0123456789abcdef").status_code == 404


def test_a_customer_of_an_earlier_job_is_offered_by_phone_and_by_name_for_another_vehicle(
    tmp_path: Path,
) -> None:
    with demo_shop(tmp_path / "shop") as shop:
        said = {"name": "Example Keeper", "phone": "0171 5550123", "address": "2 Invented Road"}
        job = answered(
            shop, None, 1, {"reason": "Clicks.", "vehicle": {"plate": "XY-9"}, "customer": said}
        ).job
        client = work_app(Van(shop.context), NoAuth()).test_client()
        for asked in ({"customer.phone": "+49 171 5550123"}, {"customer.name": "example keep"}):
            assert f"/new?customer={job}" in client.post("/job/abcdefghjkmn/arrive/try", data=asked).text
        assert "customer=" not in client.post(
            "/job/abcdefghjkmn/arrive/try", data={"customer.name": "exa"}
        ).text.replace("data-into", "")
        filled = client.get(f"/new?customer={job}").text
        assert "Example Keeper" in filled and "2 Invented Road" in filled and "XY-9" not in filled


def test_who_is_forgotten_is_on_the_list_no_more(tmp_path: Path) -> None:
    with demo_shop(tmp_path / "shop") as shop:
        take_in(shop.context.folder, LIST.encode(), "old.csv")
        said = {"name": "Somebody Else", "phone": "0171 555 0123"}
        job = answered(
            shop, None, 1, {"reason": "Clicks.", "vehicle": {"plate": "Q-1"}, "customer": said}
        ).job
        forget(shop.context, job)
        assert [one.name for one in listed_customers(shop.context.folder)] == ["Łucja Sample"]
