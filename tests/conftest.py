"""What all tests share: from where everything was imported, skips that fail in CI, the demo made once, one
Chromium and an end to every wait on it.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import importlib
import os
import shutil
import signal
import time
from collections.abc import Callable, Generator, Iterator
from importlib.metadata import entry_points
from pathlib import Path
from types import FrameType
from typing import Any

import attrs
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from hypothesis import settings

import corekit
from corekit.desk.demo import run_demo
from corekit.desk.setup import create_shop
from corekit.reference import data_path
from corekit.web.pairing import SERVER_FILE, VanCertificate

IN_CI = os.environ.get("COREKIT_CI") == "1"
#: The shell is Chromium without its window: half the processor for the same pages. By itself it draws letters
#: on whole pixels, which no phone does and which makes lines longer.
CHROMIUM = ("chromium-headless-shell", "/usr/bin/chromium", "chromium", "google-chrome")
CHROMIUM_ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--font-render-hinting=none",
]  # fmt: skip
#: Seconds after which what was to happen in a browser counts as not happening; long, for a busy machine.
PATIENCE = 60.0
#: Seconds that the setup, the body or the teardown of one test in a browser may take.
LONGEST = 240.0


def pytest_report_header() -> list[str]:
    """Where the code under test comes from: an installed copy and a checkout beside each other are easily
    mixed up.
    """
    lines = [f"corekit {corekit.__version__}: {_folder(corekit)}"]
    for point in sorted(entry_points(group="corekit"), key=lambda point: point.name):
        try:
            lines.append(f"plugin {point.name}: {_folder(importlib.import_module(point.module))}")
        except Exception as error:
            lines.append(f"plugin {point.name}: does not import ({type(error).__name__}: {error})")
    return lines


def _folder(module: Any) -> Path:
    return Path(str(module.__file__)).parent


def pytest_configure(config: pytest.Config) -> None:
    # How long an example takes depends on what else the machine does; no test of ours fails by the clock.
    settings.register_profile("corekit", deadline=None)
    settings.load_profile("corekit")
    # As a plugin, because the hooks of a conftest are asked about the tests of its own folder only, and
    # plugins/ has tests too.
    config.pluginmanager.register(_NothingSkipped())
    config.pluginmanager.register(_NothingHangs())


class _NothingSkipped:
    """In CI everything a test needs is there, so a skip is a failure, of a test or of a whole file that skips
    itself.
    """

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(self, item: pytest.Item) -> Generator[None, Any, Any]:
        report: Any = yield
        _no_skip(report, item.nodeid)
        return report

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector: pytest.Collector) -> Generator[None, Any, Any]:
        report: Any = yield
        _no_skip(report, collector.nodeid)
        return report


def _no_skip(report: Any, nodeid: str) -> None:
    # An expected failure also reports itself as skipped; it stands for a known fault and is no missing tool.
    if IN_CI and report.outcome == "skipped" and not hasattr(report, "wasxfail"):
        why = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{nodeid}: {why}\nWith COREKIT_CI=1 a skip is a failure."


@contextlib.contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Fail, at the place where it waits, what the main thread has not done after so many seconds.

    Closing and evaluating in a browser know no limit of their own, nor does joining a thread.
    """

    def late(_: int, frame: FrameType | None) -> None:
        if _is_called_back(frame):
            signal.setitimer(signal.ITIMER_REAL, 0.01)
        else:
            pytest.fail(f"still waiting after {seconds:g} s")

    began, handler = time.monotonic(), signal.signal(signal.SIGALRM, late)
    outer, _ = signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, handler)
        if outer:
            signal.setitimer(signal.ITIMER_REAL, max(outer - (time.monotonic() - began), 0.01))


def _is_called_back(frame: FrameType | None) -> bool:
    """True while an event loop hands something on: what is raised there ends the line it came by, and nobody
    hears of it. Of a browser that is the line to its driver.
    """
    while frame is not None:
        if frame.f_code is asyncio.Handle._run.__code__:
            return True
        frame = frame.f_back
    return False


class _NothingHangs:
    """A test in a browser that waits for what never comes fails with the line that waits; the run goes on.

    What even that does not end is ended by `faulthandler_timeout` in pyproject.toml.
    """

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> Generator[None, Any, Any]:
        __tracebackhide__ = True
        with _end_of(item):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Generator[None, Any, Any]:
        __tracebackhide__ = True
        with _end_of(item):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_teardown(self, item: pytest.Item) -> Generator[None, Any, Any]:
        __tracebackhide__ = True
        with _end_of(item):
            return (yield)


def _end_of(item: pytest.Item) -> contextlib.AbstractContextManager[None]:
    return at_most(LONGEST) if item.get_closest_marker("browser") else contextlib.nullcontext()


@pytest.fixture(scope="session")
def demo_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as `corekit demo` leaves it, made once. Do not write into it; take `demo_copy` for that."""
    out = tmp_path_factory.mktemp("demo") / "demo-out"
    for _ in run_demo(out):
        pass
    return out


@pytest.fixture
def demo_copy(demo_out: Path, tmp_path: Path) -> Path:
    """A demo of the test's own."""
    return Path(shutil.copytree(demo_out, tmp_path / "demo-out"))


@pytest.fixture(scope="session", autouse=True)
def _no_page_answers() -> Iterator[None]:
    """No test asks the open network for a shop's page; one that wants an answer gives it (`whole.chain`)."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("corekit.share.reader.asked", lambda *_: (0, "no network in tests"))
        yield


@pytest.fixture
def empty_shop(tmp_path: Path) -> Path:
    """The invented shop with its prices and instruments, and no job in it."""
    folder = tmp_path / "shop"
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    return folder


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A passcode is kept at a cost that suits hundreds of looks; what is kept says its own cost, so nothing
    else changes.
    """
    monkeypatch.setattr("corekit.web.passcode._N", 2**4)
    monkeypatch.setattr("corekit.web.passcode._P", 1)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A headless Chromium for the whole run; skips where there is none."""
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="the Python package playwright is not installed"
    )
    path = _chromium_path()
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=CHROMIUM_ARGS)
        yield browser
        browser.close()


def _chromium_path() -> str:
    path = os.environ.get("COREKIT_CHROMIUM") or next(filter(None, map(shutil.which, CHROMIUM)), None)
    return path or pytest.skip("no Chromium here; set COREKIT_CHROMIUM to its path")


@pytest.fixture
def browser_with(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Call it to get another Chromium, with arguments of its own and of the same kind as the shared one."""
    made = []

    def launch(*arguments: str) -> Any:
        made.append(
            chromium.browser_type.launch(executable_path=_chromium_path(), args=[*CHROMIUM_ARGS, *arguments])
        )
        return made[-1]

    yield launch
    for browser in made:
        browser.close()


@pytest.fixture
def browser_knowing(browser_with: Callable[..., Any]) -> Callable[[VanCertificate], Any]:
    """Call it with a van's certificate to get a Chromium that knows its key: by a pin, because there is no
    store of certificates to pair it with.
    """

    def launch(van: VanCertificate) -> Any:
        van.context_for("127.0.0.1")
        leaf = x509.load_pem_x509_certificate((van.shop / SERVER_FILE).read_bytes())
        key = leaf.public_key().public_bytes(
            serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
        )
        return browser_with(
            f"--ignore-certificate-errors-spki-list={base64.b64encode(hashlib.sha256(key).digest()).decode()}"
        )

    return launch


def soon(claim: Callable[[], bool], what: Callable[[], str]) -> None:
    """Wait until it is so; for what tells nobody when it happens. Else `what` says what never did."""
    deadline = time.monotonic() + PATIENCE
    while not claim():
        assert time.monotonic() < deadline, f"never: {what()}"
        time.sleep(0.05)


def settled(page: Any, asked: str, given: Any = None, *, within: float = PATIENCE) -> Any:
    """What comes of the promise that a function of JavaScript returns.

    Evaluating knows no limit: it waits for a promise that never settles, and on a page that is being left for
    the next one to come. Here the promise is rejected in time, and the page has as long again to come.
    """
    limit = f"not settled within {within:g} s"
    with at_most(within + PATIENCE):
        return page.evaluate(
            f"([given, limit, most]) => Promise.race([({asked})(given), new Promise((_, reject) =>"
            " setTimeout(() => reject(new Error(limit)), most))])",
            [given, limit, within * 1000],
        )


def close(page: Any) -> None:
    """Close a page, whatever it is about to do.

    Where a page wants to know when it is left (pagehide), Chromium drops a request to close it that comes
    while the next document is put in its place, and yet says that it was done; `page.close()` and
    `context.close()` then wait for ever. The screens go on by themselves, so this asks until one is gone.
    """
    from playwright.sync_api import Error
    from playwright.sync_api import TimeoutError as Late

    target = page.context.new_cdp_session(page).send("Target.getTargetInfo")["targetInfo"]["targetId"]
    browser = page.context.browser.new_browser_cdp_session()
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        try:
            with contextlib.suppress(Late), page.expect_event("close", timeout=500):
                browser.send("Target.closeTarget", {"targetId": target})
        except Error as error:
            if "No target with given id" not in str(error):
                raise
            with contextlib.suppress(Error):  # it is gone, and a busy machine says so now or has not yet
                page.wait_for_timeout(50)
        if page.is_closed():
            return
    pytest.fail(f"a page that cannot be closed: {page.url}")


@attrs.define
class Watched:
    """A page on a phone, and what happened on it: console errors and warnings, addresses asked for."""

    page: Any
    errors: list[str] = attrs.field(factory=list)
    asked: list[str] = attrs.field(factory=list)

    @classmethod
    def of(cls, page: Any) -> Watched:
        watched = cls(page)
        page.on(
            "console",
            lambda said: watched.errors.append(said.text) if said.type in ("error", "warning") else None,
        )
        page.on("pageerror", lambda error: watched.errors.append(str(error)))
        page.on("request", lambda request: watched.asked.append(request.url))
        return watched

    def open(self, link: str) -> None:
        self.page.goto(link)
        self.page.wait_for_selector("article.opened")
        settled(self.page, "() => document.fonts.ready.then(() => true)")

    @property
    def text(self) -> str:
        return " ".join(self.page.inner_text("body").split())

    @contextlib.contextmanager
    def unfolded(self) -> Iterator[None]:
        """Everything that is folded stands open for as long as this lasts, and is folded again after it."""
        self.page.evaluate(
            "for (const one of document.querySelectorAll('details:not([open])'))"
            " { one.open = true; one.dataset.wasFolded = ''; }"
        )
        yield
        self.page.evaluate(
            "for (const one of document.querySelectorAll('details[data-was-folded]'))"
            " { one.open = false; delete one.dataset.wasFolded; }"
        )

    @property
    def whole_text(self) -> str:
        """What stands on the page for whoever opens all of it."""
        with self.unfolded():
            return self.text


@contextlib.contextmanager
def opening(browser: Any) -> Iterator[Callable[..., Watched]]:
    """Gives what opens a page on a phone's screen in this browser, in a context of its own."""
    contexts = []

    def open_one(*, script: bool = True, width: int = 360, height: int = 740) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            java_script_enabled=script,
            accept_downloads=True,
            is_mobile=True,
            has_touch=True,
        )
        context.set_default_timeout(PATIENCE * 1000)
        contexts.append(context)
        return Watched.of(context.new_page())

    yield open_one
    for context in contexts:
        for page in context.pages:
            close(page)
        context.close()


@pytest.fixture
def phone(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """Call it to get a page on a phone's screen.

    All are closed with the test: a server waits for connections that stay open.
    """
    with opening(chromium) as phone:
        yield phone


@pytest.fixture(scope="session")
def lasting_phone(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """As `phone`, for pages that several tests look at."""
    with opening(chromium) as phone:
        yield phone
