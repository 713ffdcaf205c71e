"""A whole visit on the screens of a phone, 360 × 740, by touch, from the list of jobs to the invoice:
counted, disturbed, and held against a file.

The screens are served by `corekit work` in a process of its own, behind its passcode, and checks run in that
one's worker. Readings are those of the demo's first job (see `data/usual_battery_job.toml`); what they mean
is held against outside sources in the tests of the plugin. The sum is worked out by hand from
demo/shop/prices.toml: 20.00 coming + 30.00 looking + 0.6 h × 62.50 + a part at 168.00 = 255.50, with 20 % tax
306.60.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.jobs import job_named, pictures_of, texts_of
from corekit.desk.shop import Shop
from corekit.model.document import to_data
from corekit.screens.serve import opened
from corekit.web.auth import PasscodeAuth
from corekit.web.pairing import VanCertificate, make_authority
from corekit.web.passcode import set_passcode
from corekit.web.server import running, server_for

from ..conftest import PATIENCE, Watched, at_most, opening, settled, soon
from ..desk.visits_by_answer import demo_shop, told
from .conftest import free_port
from .driving import Error, Hand, expect

pytestmark = pytest.mark.browser

FILE = Path(__file__).parent / "data" / "usual_battery_job.toml"
CODE = "47110815"
MOST_TAPS, MOST_TYPED = 50, 60
TOTAL = "306.60"
#: Of a document: what is drawn at random, and what follows from that.
DRAWN = ("id", "number", "document_id", "record_mark", "mark", "rests_on")
#: A day as papers write it.
DAY = r"\b\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d{4}\b"


# ---- the screens, as a process


@attrs.define
class Served:
    """`corekit work` for a shop, at an address that is the same before and after it was killed."""

    folder: Path
    address: str
    run: subprocess.Popen[str] | None = None

    def start(self) -> None:
        port = self.address.rpartition(":")[2]
        command = "import sys; from corekit.cli import main; sys.exit(main())"
        self.run = subprocess.Popen(
            [sys.executable, "-c", command, "work", "--shop", str(self.folder), "--port", port],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert self.run.stdout is not None
        lines = []
        with at_most(PATIENCE):
            for line in self.run.stdout:
                lines.append(line)
                if f"{self.address}/" in line:
                    return
        pytest.fail(f"the screens did not open: {''.join(lines)}")

    def kill(self) -> None:
        """As a battery that goes flat ends it: at once, with nothing said."""
        assert self.run is not None
        self.run.kill()
        self.run.communicate(timeout=PATIENCE)
        self.run = None

    def workers(self) -> set[int]:
        """The processes in which checks run."""
        assert self.run is not None
        below, found = [self.run.pid], set()
        while below:  # the command, who looks on it, and what it starts
            threads = Path(f"/proc/{below.pop()}/task")
            children = {
                int(pid) for thread in threads.iterdir() for pid in (thread / "children").read_text().split()
            }
            below += children
            found |= {pid for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()}
        return found


@pytest.fixture
def served(empty_shop: Path) -> Iterator[Served]:
    set_passcode(empty_shop, CODE)
    settings = empty_shop / "shop.toml"
    settings.write_text(f"signs = true\n{settings.read_text('utf-8')}", "utf-8")
    one = Served(empty_shop, f"http://127.0.0.1:{free_port()}")
    one.start()
    yield one
    if one.run is not None:
        one.kill()


def let_in(phone: Watched, address: str) -> Hand:
    """A hand on the list of jobs; the passcode is no part of the visit and is not counted."""
    hand = Hand(phone.page)
    phone.page.goto(f"{address}/")
    assert hand.heading == "Locked"
    hand.write("Passcode", CODE)
    hand.press("Unlock")
    assert hand.heading == "Jobs"
    phone.errors.clear()  # the browser counts the locked door itself as one
    return attrs.evolve(hand, taps=0, typed=0)


# ---- the visit


def usual_visit(hand: Hand) -> Iterator[str]:
    """A battery that is worn, from the list of jobs to the invoice.

    Says what comes next before it is done.
    """
    yield "arrive"
    hand.press("Start a job")
    hand.write("What the customer says", "Does not crank after two days at the kerb.", counted=False)
    hand.write("Plate", "DEMO-1")
    hand.write("Customer", "Example Customer", counted=False)
    hand.press("Start the job")
    hand.press("Approved in person")

    yield "fitted"
    hand.press("Battery and charging")
    hand.choose("Battery type", "AGM")
    hand.write("Cranking rating", "680")
    hand.write("20-hour capacity", "70")
    hand.choose("Charging control", "fixed")
    hand.press("Save, choose a test")

    yield "rest"
    other_test(hand, "Open-circuit voltage")
    hand.write("Open-circuit voltage", "12.78")
    hand.write("Rest time before the reading", "9")
    hand.write("Battery temperature", "4")
    hand.choose("Instrument", "meter")
    hand.press("Save")

    yield "case"
    other_test(hand, "Battery case")
    hand.press("Sound", exact=True)

    yield "terminals"
    other_test(hand, "Posts and clamps")
    hand.press("Clean and tight")

    yield "load"
    other_test(hand, "Voltage under load")
    hand.write("Voltage under load", "8.4")
    hand.write("Load set for the test", "340")
    hand.write("Time under load", "15")
    hand.press("Save")

    yield "cranking"
    other_test(hand, "Voltage while cranking")
    hand.write("Voltage while cranking, posts", "8.9")
    hand.write("Voltage while cranking, clamps", "8.85")
    hand.press("Save")

    yield "drain"
    other_test(hand, "Parasitic draw")
    hand.write("Parasitic draw", "18")
    hand.write("Wait before the parasitic draw was read", "40")
    hand.press("Save")

    yield "charging"
    other_test(hand, "Charging voltage")
    hand.write("Charging voltage", "14.52")
    hand.write("Engine speed at the charging reading", "1500")
    hand.press("Save")

    yield "explain"
    hand.press("Enough for an estimate: Replace the battery")
    hand.sign()
    hand.press("Approved in person")

    yield "repair"
    hand.write("Cranking rating", "720")
    hand.press("The rest as the old part", stays=True)
    hand.press("Done: replace the battery")

    yield "retest"
    hand.caution()
    hand.write("Voltage under load", "10.3")
    hand.write("Battery temperature", "5")
    hand.press("All as before the repair", stays=True)
    hand.press("Save")

    yield "hand over"
    hand.press("Cash, issue the invoice")


def other_test(hand: Hand, title: str) -> None:
    if hand.heading != "All tests":
        hand.press("Another test")
    hand.press(title, exact=True)
    hand.caution()


def issued(hand: Hand) -> str:
    """The job whose invoice stands on the screen."""
    assert hand.heading.startswith("Invoice ")
    for said in (
        f"Total {TOTAL} EUR, paid",
        "A worn-out battery Put right and shown",
        "The old battery is taken out, and a new one of the right kind is fitted",
    ):
        assert said in hand.text, said
    assert "signed, signed" not in hand.text
    found = re.search(r"/job/([0-9a-z]+)/", hand.page.url)
    assert found
    return found[1]


def test_a_usual_battery_job_takes_at_most_fifty_taps_and_sixty_typed_characters(
    served: Served, phone: Callable[..., Watched], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Six readings on arrival, two lines, a signature, the retest, cash.

    What the customer said and the customer's name are typed apart.
    """
    watched = phone(width=360, height=740)
    hand = let_in(watched, served.address)
    for _ in usual_visit(hand):
        pass
    job = issued(hand)
    with capsys.disabled():
        print(f"\na usual battery job on the screens: {hand}")
    assert watched.errors == []
    with Shop(served.folder) as shop:
        record = shop.store.job(job)
        assert len(record.measured(0)) == 6 and len(record.measured(1)) == 1
        repair = next(noted.record for noted in record.estimates if noted.record.stage == "repair")
        assert len(repair.lines) == 2
    is_as_from_a_file(served.folder, job, tmp_path)
    assert hand.taps <= MOST_TAPS
    assert hand.typed <= MOST_TYPED


# ---- disturbed, and the same as from a file


def by_growing_file(shop: Shop, folder: Path, signature: str) -> str:
    """The same visit from a file that grows, with the estimates made and approved where the file says so; the
    job.
    """
    first, looked, repaired = re.split(r"# then approve the [^\n]*\n", FILE.read_text("utf-8"))
    path = folder / "visit.toml"
    path.write_text(first, encoding="utf-8")
    job = shop.import_visit(path)
    shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
    path.write_text(first + looked, encoding="utf-8")
    assert shop.import_visit(path) == job
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person", signature=signature)
    path.write_text(first + looked + repaired, encoding="utf-8")
    return shop.import_visit(path)


def paper(shop: Shop, job: str) -> Any:
    """The invoice as data, with what is drawn anew or counted set equal: ids, day, number, record mark.

    Personal texts stand in their places.
    """
    invoice = shop.issue(job)
    texts = texts_of(shop.context, shop.store.job(job))

    def plain(item: Any) -> Any:
        if isinstance(item, dict) and set(item) == {"personal", "hash"}:
            return {"personal": item["personal"], "text": texts[item["hash"]]}
        if isinstance(item, dict):
            return {key: "-" if key in DRAWN else plain(one) for key, one in item.items()}
        if isinstance(item, list | tuple):
            return [plain(one) for one in item]
        return re.sub(DAY, "(day)", item) if isinstance(item, str) else item

    return plain(to_data(invoice.document))


def is_as_from_a_file(screens: Path, job: str, scratch: Path) -> None:
    """The journal of a job of the screens reads as that of the file, and its invoice is the same document."""
    with Shop(screens) as shop, demo_shop(scratch / "file") as other:
        assert shop.store.verify() == []
        (signature,) = pictures_of(shop.context, job_named(shop.context, job), "signature").values()
        typed = by_growing_file(other, scratch, signature)
        assert told(shop, job) == told(other, typed)
        assert paper(shop, job) == paper(other, typed)


def holds(hand: Hand, claim: str, said: object = None) -> bool:
    """Whether a claim about the page holds; no while another page is on its way."""
    try:
        return bool(settled(hand.page, claim, said))
    except Error as error:
        if "context was destroyed" in str(error):
            return False
        raise


def kept(hand: Hand) -> None:
    """Wait until the phone has copies of all that the screen names as coming next."""
    claim = """async () => {
        const pages = await caches.open("corekit-pages-1");
        const copies = await Promise.all(JSON.parse(document.querySelector("main").dataset.ahead)
          .map((path) => pages.match(path)));
        return copies.length > 3 && copies.every(Boolean);
    }"""
    soon(lambda: holds(hand, claim), lambda: "copies of what comes next")


def open_anew(hand: Hand, address: str) -> None:
    """The browser died: the list of jobs, and the job."""
    context = hand.page.context
    hand.page.close()
    hand.page = context.new_page()
    hand.page.goto(f"{address}/")
    hand.press("DEMO-1")


def line_of(hand: Hand) -> str:
    """What the screen says of the connection, once it says something."""
    soon(lambda: bool(hand.page.inner_text("#line")), lambda: "the screen says that there is no connection")
    return str(hand.page.inner_text("#line"))


def connected(hand: Hand) -> None:
    """Wait until nothing is kept on the phone any more and the screen is no copy."""
    claim = (
        "() => document.readyState === 'complete' && document.body.dataset.asOf === undefined &&"
        " document.getElementById('line').textContent === ''"
    )
    soon(lambda: holds(hand, claim), lambda: "the connection is back and everything is sent")


def test_killed_without_a_network_and_with_a_dead_browser_it_is_the_same_visit_as_from_a_file(
    served: Served, phone: Callable[..., Watched], tmp_path: Path
) -> None:
    hand = let_in(phone(width=360, height=740), served.address)
    lines = []
    for step in usual_visit(hand):
        if step == "rest":
            first = served.workers()
            assert len(first) == 1, "checks run in a process of their own"
            os.kill(*first, signal.SIGKILL)  # and another one takes over
        if step == "case":
            again = served.workers()
            assert len(again) == 1 and again != first
            kept(hand)
            served.kill()
            soon(
                lambda worker=Path(f"/proc/{again}"): not worker.exists(),
                lambda: "the worker ends with its server",
            )
        if step == "terminals":
            lines.append(line_of(hand))
            served.start()
            connected(hand)
        if step == "load":
            other_test(hand, "Voltage under load")
            hand.write("Voltage under load", "8.4")
            soon(
                lambda: holds(
                    hand, "() => Object.keys(localStorage).some((name) => name.startsWith('corekit:draft:'))"
                ),
                lambda: "a draft",
            )
            open_anew(hand, served.address)
            other_test(hand, "Voltage under load")
            expect(hand.page.get_by_label("Voltage under load", exact=True)).to_have_value("8.4")
            kept(hand)
            hand.page.context.set_offline(True)
        if step == "drain":
            open_anew(hand, served.address)
            hand.press(
                "Test you are here"
            )  # where the visit stands only the server knows; the phone shows its steps
            hand.press("Any single test")
        if step == "explain":
            lines.append(line_of(hand))
            hand.page.context.set_offline(False)
            connected(hand)
            open_anew(hand, served.address)  # a copy is from before: the server knows what has come since
    job = issued(hand)
    assert [re.findall(r"(\d+) answers? (?:is|are) saved on this phone", line) for line in lines] == [
        ["1"],
        ["4"],  # posts and clamps are one answer
    ]

    with pytest.raises(urllib.error.HTTPError, match="401"):  # nobody comes in beside the door
        urllib.request.urlopen(f"{served.address}/job/{job}", timeout=PATIENCE)
    served.kill()
    is_as_from_a_file(served.folder, job, tmp_path)


# ---- the other shape


def test_on_the_hotspot_a_paired_phone_is_let_in_answers_and_keeps_copies(
    empty_shop: Path, browser_knowing: Callable[[VanCertificate], Any]
) -> None:
    set_passcode(empty_shop, CODE)
    make_authority(empty_shop, datetime.now(UTC))
    van = VanCertificate(empty_shop, addresses=lambda: ("192.168.4.1",))
    with (
        opened(empty_shop, PasscodeAuth(shop=empty_shop, hosts=van.names, tls=True)) as app,
        running(server_for(app, port=0, tls=van)) as server,
        opening(browser_knowing(van)) as phone,
    ):
        hand = let_in(phone(), f"https://127.0.0.1:{server.bind_addr[1]}")
        hand.press("Start a job")
        hand.write("What the customer says", "Cranks slowly.")
        hand.write("Plate", "DEMO-2")
        hand.press("Start the job")
        assert hand.heading == "Approve diagnosis"
        ready = (
            "async () => isSecureContext && (await navigator.serviceWorker.ready).active !== null &&"
            " Boolean(await caches.match('/queue'))"
        )
        soon(lambda: holds(hand, ready), lambda: "copies over TLS")
        assert all(cookie["secure"] for cookie in hand.page.context.cookies())
    with Shop(empty_shop) as shop:
        assert [
            texts_of(shop.context, shop.store.job(job))[shop.store.job(job).vehicle.plate.hash]
            for job in shop.store.jobs()
        ] == ["DEMO-2"]
