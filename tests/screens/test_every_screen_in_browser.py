"""Every screen, at every place where a visit can stand, on a phone and a tablet: what a thumb, an eye, a
screen reader and a reader of words need of it.

Every own address that a screen names is opened once without a browser; then one of each kind of screen in a
real one.
"""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest
from playwright.sync_api import Page

from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.reference import data_path
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from .conftest import start_serving, stop_serving
from .everywhere import Screen, crawl, fill, forms_of, kinds, new_in, richest

pytestmark = pytest.mark.browser

PHONE, TABLET = (360, 740), (820, 1180)

#: WCAG 2.2, from memory: 2.5.5 (AAA) asks for targets of 44 CSS pixels, 2.5.8 (AA) for 24; both except links
#: inside a sentence. Ours is issue 5's own: 48.
TARGET = 48


# ---- what there is to look at


@attrs.define
class Everywhere:
    """The shop with its jobs, its screens served, and all of them as they were found by following links."""

    shop: Shop
    address: str
    jobs: dict[str, str]
    statuses: dict[str, int]
    screens: list[Screen]


@pytest.fixture(scope="module")
def everywhere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Everywhere]:
    folder = tmp_path_factory.mktemp("everywhere") / "shop"
    folder.mkdir()
    for name in ("shop.toml", "prices.toml"):
        shutil.copy(data_path("demo") / "shop" / name, folder / name)
    create_shop(folder, demo=True)
    with Shop(folder) as shop:
        jobs = fill(shop)
        app = work_app(Van(shop.context), NoAuth())
        statuses, screens = crawl(app)
        server, thread = start_serving(app, 0)
        yield Everywhere(shop, f"http://127.0.0.1:{server.bind_addr[1]}", jobs, statuses, screens)
        stop_serving(server, thread)


def test_every_address_that_a_screen_names_answers(everywhere: Everywhere) -> None:
    wrong = {
        path: status
        for path, status in everywhere.statuses.items()
        if status not in (200, 303) and path != "/nothing/here"
    }
    assert not wrong
    assert everywhere.statuses["/nothing/here"] == 404


def test_following_links_leads_to_every_screen_there_is(everywhere: Everywhere) -> None:
    rules = {
        rule.rule
        for rule in work_app(Van(everywhere.shop.context), NoAuth()).url_map.iter_rules()
        if "GET" in (rule.methods or ()) and rule.endpoint not in ("kept", "face", "manifest")
    }
    seen = {screen.rule for screen in everywhere.screens}
    no_screens = {
        "/job/<job>",
        "/job/<job>/retested",
        "/job/<job>/after/<key>",
        "/job/<job>/paper/<name>.pdf",
        "/job/<job>/photo/<name>.jpg",
        "/job/<job>/other-van",  # only in a shop with a hub: tests/screens/test_other_van.py
    }
    assert rules - seen - no_screens == set()
    assert {f"/job/{job}/hand" for job in everywhere.jobs.values()} <= set(everywhere.statuses), (
        "every job is reached from the first screen"
    )


# ---- its words

#: What no screen says, and why not. Words in which it may stand are taken out first.
UNSAID = {
    "a key of the declarations": re.compile(r"\b(?:battery|egr|ignition)\.[a-z_]+"),
    "the place of a row": re.compile(r"\b(?:step|readings|seen|traits|specification)\[|\bstep\.|\bof ="),
    "the language of files": re.compile(r"\b[a-z_]+ = (?:\"|true|false|\[|\{)|\bconfirmed\b|\bTOML\b|`"),
    "a value of Python": re.compile(r"\bNone\b|\bTrue\b|\bFalse\b|\bnan\b|<[A-Za-z]+ object|\{\}"),
    "a promise": re.compile(r"\bsafe", re.I),
    "a colour as a judgement": re.compile(r"\b(?:green|red|amber|yellow|traffic light)\b", re.I),
    "a doubled or lost sign": re.compile(
        r"\.\.|,,|;;|\?\.|!\.|\.;|,\.|\(\)|:\.|\s[,;.?!](?:\s|$)|[„‚]|\(s\)"
    ),
}
ALLOWED = re.compile(r"\bNone (?:stored|pending|permanent|of these)\b|\binfra-red\b|\bTrue RMS\b")


def unsaid(texts: Iterable[str]) -> list[str]:
    """What of these texts no screen should say, each with the reason."""
    plain = dict.fromkeys(ALLOWED.sub("", text) for text in texts)
    return [f"{why}: {text[:200]}" for text in plain for why, sign in UNSAID.items() if sign.search(text)]


def test_no_screen_speaks_the_language_of_files_or_promises_anything(
    everywhere: Everywhere, tmp_path: Path
) -> None:
    listed = tmp_path / "all-words.txt"  # to be read aloud
    listed.write_text(
        "\n\n".join(f"=== {screen.path}\n{screen.text}" for screen in everywhere.screens), "utf-8"
    )
    observed = everywhere.shop.context.plugins.observations.values()
    buttons = {
        str(answer.value).capitalize() for one in observed for answer in one.answers
    }  # "None" is what a spark tester may show
    assert not unsaid(
        words
        for screen in everywhere.screens
        for words in screen.words
        if not (words in buttons and "<key>" in screen.rule)
    )
    assert (
        unsaid(["battery.open_circuit_voltage: None"])
        and unsaid(['write cannot = "…"'])
        and unsaid(["It is safe now."])
    ), "and it would be seen"


@pytest.mark.parametrize("nonsense", [("12 quux", "-99999999"), ("1e400", "~")])
def test_what_is_typed_wrongly_is_answered_in_the_words_of_the_screen(
    nonsense: tuple[str, ...], everywhere: Everywhere, tmp_path: Path
) -> None:
    copied = Path(shutil.copytree(everywhere.shop.context.folder, tmp_path / "shop"))
    found: dict[str, list[str]] = {}
    said: list[str] = []
    with Shop(copied) as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        for screen in [
            *richest(everywhere.screens),
            *[one for one in kinds(everywhere.screens) if one.rule.startswith("/job/<job>/test/")],
        ]:
            forms = forms_of(client.get(screen.path, follow_redirects=True).text)
            for typed in nonsense:
                for form in (one for one in forms if one.texts):
                    reply = client.post(form.action, data=form.filled(typed))
                    if reply.status_code == 422:
                        texts = re.findall(r'class="fault">([^<]*)', html.unescape(reply.text))
                        said += texts
                        wrong = unsaid(texts)
                        found |= {f"{screen.rule} with {typed}": wrong} if wrong else {}
    assert len(said) > 25 and all(text.strip() for text in said)
    assert not found


# ---- in a browser

LOOK = """
(target) => {
  const wrong = [], seen = (one) => one.checkVisibility({ visibilityProperty: true }),
    main = document.querySelector("main");
  const first = document.querySelectorAll("h1:not([aria-level])").length;
  if (first !== 1) wrong.push(`${first} first headings`);
  if (!document.title.trim()) wrong.push("no title");
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (wide > 0) {
    const out = [...main.querySelectorAll("*")].find((one) => seen(one)
      && one.getBoundingClientRect().right > innerWidth + 1);
    wrong.push(`${wide} px wider than the screen:` +
      ` ${out ? out.tagName + "." + out.className + " " + out.textContent.trim().slice(0, 40) : ""}`);
  }
  // A link inside a sentence is as high as its line.
  const inText = (one) => one.tagName === "A" && getComputedStyle(one).display === "inline" &&
    [...one.parentElement.childNodes].some((node) => node.nodeType === 3
      && /[\\p{L}]/u.test(node.textContent));
  const box = (one) => {
    const label = one.matches("input") && (one.closest("label") || null);
    return (label ? label.querySelector("span") || label : one).getBoundingClientRect();
  };
  for (const one of document.querySelectorAll("a[href], button, summary, " +
    "input:not([type=hidden]), textarea, select, canvas")) {
    if (!seen(one) || inText(one) || one.closest(".sheet") || one.matches(".skip")) continue;
    const { width, height } = box(one);
    if (width < target - .5 || height < target - .5) {
      const words = (one.textContent || one.name || one.closest("label")?.textContent || "").trim();
      wrong.push(`${Math.round(width)} × ${Math.round(height)}: ${one.tagName} ${words.slice(0, 40)}`);
    }
  }
  const mains = [...document.querySelectorAll(".main")].filter(seen);
  if (mains.length > 1) wrong.push(`${mains.length} main buttons`);
  for (const one of mains) {
    const place = one.getBoundingClientRect();
    const reached = place.top > innerHeight / 2 && place.bottom <= innerHeight;
    if (!reached) wrong.push(`the main button lies at ${Math.round(place.top)}` +
      ` of ${innerHeight}: ${one.textContent.trim()}`);
  }
  return wrong;
}
"""
OPENED = "for (const one of document.querySelectorAll('main details')) one.open = true"


@attrs.define
class Eye:
    """A page in the browser and what looks at it."""

    page: Page
    watched: Any
    axe: Any
    address: str

    def open(self, path: str) -> list[str]:
        """Open a screen; gives what went wrong by itself."""
        self.watched.errors.clear()
        self.watched.asked.clear()
        reply = self.page.goto(f"{self.address}{path}")
        wrong = [] if reply is not None and reply.ok else [f"status {reply.status if reply else 'none'}"]
        elsewhere = [
            link for link in self.watched.asked if not link.startswith((self.address, "data:", "blob:"))
        ]
        return [
            *wrong,
            *(f"asked elsewhere: {link}" for link in elsewhere),
            *(f"said in the console: {error}" for error in self.watched.errors),
        ]

    def look(self, *, with_axe: bool = True) -> list[str]:
        """What is wrong with the screen that is open, as it comes and with everything opened that can be."""
        wrong = self.page.evaluate(LOOK, TARGET)
        self.page.evaluate(OPENED)
        wrong += [words for words in self.page.evaluate(LOOK, TARGET) if words not in wrong]
        return [
            *wrong,
            *(self.for_everybody() if with_axe else ()),
            *(f"said in the console: {error}" for error in self.watched.errors),
        ]

    def for_everybody(self) -> list[str]:
        """What axe-core finds, with all its rules but those marked experimental or for another
        kind of page; in the dark its rule of colours, since nothing else is different there.
        """
        found = self.axe.run(self.page, options={"resultTypes": ["violations"]}).response["violations"]
        self.page.emulate_media(color_scheme="dark")
        options = {"resultTypes": ["violations"], "runOnly": ["color-contrast"]}
        dark = self.axe.run(self.page, options=options).response["violations"]
        self.page.emulate_media(color_scheme="light")
        return [
            f"{one['id']}{scheme}: {one['help']}: {one['nodes'][0]['html'][:160]}"
            for scheme, wrong in (("", found), (" in the dark", dark))
            for one in wrong
        ]


@pytest.fixture
def eye(phone: Callable[..., Any], everywhere: Everywhere) -> Callable[[tuple[int, int]], Eye]:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()

    def one(size: tuple[int, int]) -> Eye:
        watched = phone(width=size[0], height=size[1])
        return Eye(watched.page, watched, axe, everywhere.address)

    return one


def looked_at(eye: Eye, screens: list[Screen]) -> str:
    """What is wrong on these screens, in words; empty when nothing is."""
    found = {}
    shown = new_in(screens)
    for screen in screens:
        # axe-core takes longest: it looks where an element stands that it has not seen there yet.
        wrong = [*eye.open(screen.path), *eye.look(with_axe=screen.path in shown)]
        if wrong:
            found[f"{screen.rule} at {screen.path}"] = wrong
    return "\n".join(f"{where}\n    " + "\n    ".join(dict.fromkeys(wrong)) for where, wrong in found.items())


SHARES = 4  # of the screens, each within a browser test's time


@pytest.mark.parametrize("share", range(SHARES))
def test_every_kind_of_screen_is_for_everybody_and_for_a_thumb_on_a_phone(
    share: int, eye: Callable[..., Eye], everywhere: Everywhere
) -> None:
    screens = [screen for screen in kinds(everywhere.screens) if screen.rule != "/nothing/here"]
    assert len(screens) >= 60
    found = looked_at(eye(PHONE), screens[share::SHARES])
    assert not found, found


def test_every_screen_is_for_everybody_and_for_a_thumb_on_a_tablet(
    eye: Callable[..., Eye], everywhere: Everywhere
) -> None:
    found = looked_at(
        eye(TABLET), [screen for screen in richest(everywhere.screens) if screen.rule != "/nothing/here"]
    )
    assert not found, found


# ---- with a keyboard, with large text, without a script

TABBED = """
() => {
  const one = document.activeElement, style = getComputedStyle(one), beside = one.nextElementSibling
    ? getComputedStyle(one.nextElementSibling) : style;
  const ring = (look) => look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2;
  const key = one === document.body ? "" : [...document.querySelectorAll("*")].indexOf(one) + "";
  return { key, seen: ring(style) || ring(beside), words: (one.textContent || one.name
    || one.tagName).trim().slice(0, 40) };
}
"""
REACHABLE = """
() => {
  const all = [...document.querySelectorAll("*")], groups = new Set();
  return all.flatMap((one, index) => {
    if (!one.matches("a[href], button:not([disabled]), summary, " +
      "input:not([type=hidden]), textarea, select")) return [];
    if (!one.checkVisibility({ visibilityProperty: true })) return [];
    if (one.type === "radio") {  // the arrow keys go on within a group
      const group = `${one.name} ${one.form ? [...document.forms].indexOf(one.form) : ""}`;
      const pressed = [...document.querySelectorAll("input[type=radio]")]
        .some((other) => other.name === one.name && other.form === one.form && other.checked);
      if (groups.has(group) || (pressed && !one.checked)) return [];
      groups.add(group);
    }
    return [index + ""];
  });
}
"""
LARGE = """
() => {
  const all = [...document.querySelectorAll("body *")].filter((one) => !one.closest("svg"));
  const sizes = all.map((one) => parseFloat(getComputedStyle(one).fontSize));
  all.forEach((one, index) => { one.style.fontSize = `${2 * sizes[index]}px`; });
  const cut = all.filter((one) => {
    const style = getComputedStyle(one), clips = style.overflowX !== "visible"
      || style.overflowY !== "visible";
    if (!one.checkVisibility() || !clips || one.matches("textarea, input, .unseen, .skip")) return false;
    return one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1;
  }).map((one) => `cut off: ${one.tagName} ${one.textContent.trim().slice(0, 40)}`);
  const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  const bar = document.querySelector(".thumb"), covered = bar
    ? bar.getBoundingClientRect().height / innerHeight : 0;
  return [...cut, ...(wide > 0 ? [`${wide} px wider than the screen`] : []), ...(covered > 0.5
    ? ["the main button covers half of the screen"] : [])];
}
"""


def test_the_tab_key_reaches_everything_and_shows_where_it_is(
    eye: Callable[..., Eye], everywhere: Everywhere
) -> None:
    eyes, found = eye(PHONE), {}
    for screen in richest(everywhere.screens):
        if screen.rule in (
            "/nothing/here",
            "/",
            "/reckon",
            "/job/<job>/tests",
        ):  # long lists of links of one kind
            continue
        eyes.open(screen.path)
        eyes.page.evaluate(OPENED)
        to_reach, reached, unseen = set(eyes.page.evaluate(REACHABLE)), set(), []
        for _ in range(len(to_reach) + 5):
            eyes.page.keyboard.press("Tab")
            at = eyes.page.evaluate(TABBED)
            if not at["key"]:
                break
            reached.add(at["key"])
            unseen += [] if at["seen"] else [at["words"]]
        missed = [
            eyes.page.evaluate("(at) => document.querySelectorAll('*')[at].outerHTML.slice(0, 120)", int(key))
            for key in to_reach - reached
        ]
        if missed or unseen:
            found[screen.path] = {"missed": missed, "focus not seen": unseen}
    assert not found


def test_text_of_twice_the_size_is_not_cut_off(eye: Callable[..., Eye], everywhere: Everywhere) -> None:
    # WCAG 2.2, 1.4.4 (AA), from memory: text can be resized to 200 % without loss of content or function.
    eyes, found = eye(PHONE), {}
    for screen in richest(everywhere.screens):
        if screen.rule == "/nothing/here":
            continue
        eyes.open(screen.path)
        eyes.page.evaluate(OPENED)
        wrong = eyes.page.evaluate(LARGE)
        if wrong:
            found[screen.path] = wrong
    assert not found
