"""What the shop says of itself: asked once before the first job, and changed on the same screen later."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import attrs
import flask

from ..desk.errors import DataFault, VisitError
from ..desk.settings import read_settings
from ..desk.setup import Answers, note_installed_operations, set_up
from ..desk.shop_files import ShopAnswers, answers_of, change
from ..errors import CorekitError
from ..languages import name_of, screen_languages
from .context import Van
from .forms import form_with_faults, redirect

_FIELDS = tuple(attrs.fields_dict(ShopAnswers))


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/shop")
    def shop() -> str:
        """What the two files of the shop say, to be changed."""
        return flask.render_template(
            "shop.html", said=answers_of(van.shop.folder), is_new=False, languages=_languages()
        )

    @app.post("/shop")
    def change_shop() -> flask.Response:
        try:
            with van.shop.lock:
                change(van.shop.folder, _typed_answers())
                settings = read_settings(van.shop.folder, demo=van.shop.demo)
                plugins = van.shop.plugins
                van.shop.price_book.refresh()
                van.shop = attrs.evolve(van.shop, settings=settings, load_plugins=lambda: plugins)
        except CorekitError as error:
            return form_with_faults(error)
        app.jinja_env.globals["shop_name"] = settings.issuer.name
        return redirect("/")


def add_first(app: flask.Flask, folder: Path, is_set_up: Callable[[], None]) -> None:
    """The one screen there is before there is a shop.

    Args:
        is_set_up: Called once the shop was written.
    """

    @app.get("/", endpoint="jobs")
    def first() -> str:
        return flask.render_template("shop.html", said=ShopAnswers(), is_new=True, languages=_languages())

    @app.post("/")
    def write() -> flask.Response:
        form, typed = flask.request.form, _typed_answers()
        try:
            _refuse_missing(form)
            set_up(
                folder,
                Answers(
                    name=typed.name.strip(),
                    address=tuple(line.strip() for line in typed.address.splitlines()),
                    currency=form.get("currency", "").strip().upper(),
                    tax_id=typed.tax_id.strip(),
                    more=attrs.evolve(typed, name="", address="", tax_id=""),
                ),
            )
            note_installed_operations(folder)
        except CorekitError as error:
            return form_with_faults(error)
        is_set_up()
        return flask.Response(status=303, headers={"Location": "/"})


def _languages() -> list[tuple[str, str]]:
    """Code and own name of each language that the screens can be in."""
    return [(code, name_of(code)) for code in screen_languages()]


def _typed_answers() -> ShopAnswers:
    return ShopAnswers(**{field: flask.request.form.get(field, "") for field in _FIELDS})


def _refuse_missing(form: Any) -> None:
    currency = form.get("currency", "").strip()
    faults = [
        DataFault(field, "", words)
        for field, words, is_missing in (
            ("name", "An invoice names who issues it.", not form.get("name", "").strip()),
            ("address", "An invoice says where you are.", not form.get("address", "").strip()),
            (
                "currency",
                "The currency has three letters, such as EUR.",
                not (len(currency) == 3 and currency.isascii() and currency.isalpha()),
            ),
        )
        if is_missing
    ]
    if faults:
        raise VisitError(faults)


@attrs.define
class FirstRun:
    """The screens of a folder without a shop: one that asks, and from then on those of the shop.

    Attributes:
        app: What answers now. shop_app: Opens the shop and gives its screens.
    """

    app: Callable[..., Iterable[bytes]]
    shop_app: Callable[[], Callable[..., Iterable[bytes]]]

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        return self.app(environ, start_response)

    def go_on(self) -> None:
        """The shop is there: its screens answer from the next request on."""
        self.app = self.shop_app()


def first_app(
    made: flask.Flask, folder: Path, shop_app: Callable[[], Callable[..., Iterable[bytes]]]
) -> FirstRun:
    """The screens from an empty folder on; `made` is the frame that the first of them stands in."""
    run = FirstRun(made, shop_app)
    add_first(made, folder, run.go_on)
    return run
