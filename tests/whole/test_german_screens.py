"""The mechanic's screens in German: no text of ours is left in English, what people typed stays as it is, and
what a form sends back is the same in every language.

Words and forms of numbers are German as any dictionary and DIN 5008 have them, from memory.
"""

from __future__ import annotations

import ast
import re
import shutil
import tomllib
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import attrs
import flask
import pytest
from flask.testing import FlaskClient

from corekit.desk.settings import read_settings
from corekit.desk.setup import create_shop
from corekit.desk.shop import Shop
from corekit.plugin.host import load
from corekit.plugin.system import System
from corekit.reference import data_path
from corekit.report import tongue as tongues
from corekit.report.catalogue import Catalogue
from corekit.report.tongue import Tongue, in_tongue, own_words, tongue_of
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van
from corekit.screens.language import texts_of_script
from corekit.testing.screen_texts import declared_texts, lacking, shared_texts, template_texts

from ..screens import everywhere
from .test_translations import SYSTEMS, system_of

ROOT = Path(__file__).parents[2]
EXCEPTED: dict[str, list[str]] = tomllib.loads((ROOT / "tests/data/not-on-screens.toml").read_text("utf-8"))
#: Systems whose texts of the screens are still to come in German: none of theirs is counted.
TO_COME = ("battery", "brakes", "cooling", "egr", "ignition")
#: Places of a visit that between them show every kind of screen.
PLACES = (
    everywhere.long_words,
    everywhere.with_symptoms,
    everywhere.no_number,
    everywhere.confirmed,
    everywhere.own_limit,
    everywhere.wished,
    everywhere.moved_on,
    everywhere.partly_declined,
    everywhere.half_repaired,
    everywhere.not_shown,
    everywhere.left,
    everywhere.nothing_came,
    everywhere.unpaid,
    everywhere.paid_later,
    everywhere.together,
    everywhere.by_phone_approved,
    everywhere.second_car,
    everywhere.photographed,
)


def untranslated(systems: tuple[str, ...] = TO_COME) -> dict[str, str]:
    """The texts that systems still lack, each said as it is."""
    found: dict[str, str] = {}
    for key in systems:
        system = system_of(key)
        tongue = tongue_of("de", [system.folder])
        assert tongue is not None
        found |= {text: text for text in lacking(declared_texts(system), tongue)}
    return found


@pytest.fixture(scope="module")
def german() -> Iterator[None]:
    """German, in which systems that are to come say their own texts in English."""
    real, more = tongues.screen_catalogue, untranslated()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(
            tongues,
            "screen_catalogue",
            lambda language, folders=(): Catalogue(language, {**more, **real(language, folders).texts}),
        )
        tongues._tongue.cache_clear()
        yield
    tongues._tongue.cache_clear()


@attrs.define
class Seen:
    """All screens of a shop, by path, in both languages; and what was missing on each."""

    shop: Shop
    jobs: dict[str, str]
    english: dict[str, str]
    spoken: dict[str, str]
    missing: dict[str, str]
