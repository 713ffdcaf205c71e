"""A shop's own file, shop.toml: who issues, where the page is, which instruments are in the van."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import attrs

from ..billing.book import PriceBook
from ..billing.price_file import read_price_book
from ..datafile import read_toml, required_field, structured, table
from ..errors import InputError
from ..fault import DataFault, DataFileError, Faults, Place, any_of, near, path_text, quotation
from ..intake.datasheet import Datasheet
from ..intake.declared import Declared
from ..intake.file import look_over
from ..intake.form import InstrumentRow
from ..jurisdictions import CODE, general, jurisdictions
from ..languages import ENGLISH, languages, screen_languages
from ..model.account_number import read_bic, read_iban
from ..model.jurisdiction import Jurisdiction, jurisdiction_for
from ..model.own_work import is_own_work
from ..model.records import Instrument
from ..plugin.host import UNITS, Plugins
from ..plugin.setting import SettingError, setting_value
from ..report.sheet import Issuer
from ..share.link import base_problem, static_problem
from ..units import IN_PLACE_OF
from .errors import DeskError

#: Beside a store that is marked as a demo: the practice cars of its jobs.
PRACTICE_FILE = "practice.json"
SHOP_FILE, PRICE_FILE, STORE_FILE, KEY_FILE = "shop.toml", "prices.toml", "journal.sqlite", "keys/link.key"
PAGE_KEY_FILE = "keys/page.key"
SIGNING_KEY_FILE = "keys/sign.key"
#: Holds the page address once something has answered there as a page.
PAGE_ANSWERED_FILE = "page.answered"
PAPERS, PUBLISHED, BACKUPS = "papers", "published", "backups"
NUMBER_PATTERN = "{year}-{device}{place:04}"
#: So long an estimate holds where the shop says nothing else, and at most.
ESTIMATE_DAYS, LONGEST_ESTIMATE = 30, 366
#: So long invoices are kept where the shop says nothing else, and at most. Estimate of ours: tax laws ask for
#: 3 to 10 years; the shop's own law decides.
#: The largest smallest coin; estimate of ours.
LARGEST_COIN = 100
RETENTION_YEARS, LONGEST_RETENTION = 10, 30


@attrs.frozen(kw_only=True)
class Settings:
    """What shop.toml says.

    Attributes:
        page: Address of the page server (`https://…`), or empty: then papers carry the record mark and no
            code.
        carried: Address of the static page that opens carried codes (`corekit page --static` writes it);
            empty: documents carry no such code.
        publish: Where published documents go: a folder (relative to the shop's) or the page server's address.
        device: Letter of this issuing device; part of every number, so that two devices never use one twice.
        number: Pattern of the invoice number, with {year}, {device} and {place}.
        instruments: Name → what its sheet says. usual: Measurand key → name of the instrument that its
            readings are taken with when they name none.
        decimal: The mark in this shop's numbers, `.` or `,`; empty when both are usual.
        estimate_days: So many days an estimate holds; 0 sets no end.
        jurisdiction: Code of the place whose rules hold; empty where the shop names none.
        statements: Name → words that its law prescribes, as the shop supplies them.
        due_days: So many days after its issue an invoice is to be paid; 0: at once.
        cash_rounding: The smallest coin, to which what is paid of an invoice in cash is rounded; None: not.
        units: In which papers and screens print what is declared in others (`units.IN_PLACE_OF`).
        language: Of the papers of customers who have none of their own. screen_language: Of the screens.
        zone: Name of the time zone that days are counted in; empty for this device's own.
        retention_years: So long invoices, and so their customers' names, are kept.
        signs: A signature is asked for on the screen when an estimate is approved; it stays optional.
        plugins: Plugin → setting → what the shop says of it.
    """

    issuer: Issuer
    page: str = ""
    carried: str = ""
    publish: str = PUBLISHED
    device: str = "A"
    number: str = NUMBER_PATTERN
    instruments: Mapping[str, Instrument] = attrs.field(factory=dict)
    usual: Mapping[str, str] = attrs.field(factory=dict)
    decimal: str = ""
    estimate_days: int = ESTIMATE_DAYS
    retention_years: int = RETENTION_YEARS
    jurisdiction: str = ""
    statements: Mapping[str, str] = attrs.field(factory=dict)
    zone: str = ""
    due_days: int = 0
    signs: bool = False
    cash_rounding: Decimal | None = None
    units: tuple[str, ...] = ()
    language: str = ENGLISH
    screen_language: str = ENGLISH
    plugins: Mapping[str, Mapping[str, str]] = attrs.field(factory=dict)

    def local(self, moment: datetime) -> datetime:
        """A moment by the shop's clock."""
        return moment.astimezone(ZoneInfo(self.zone) if self.zone else None)

    def day_of(self, instant: str) -> str:
        """The shop's day of an instant that was written down, RFC 3339."""
        return self.local(datetime.fromisoformat(instant)).date().isoformat() if "T" in instant else instant


class DecimalMark(StrEnum):
    POINT, COMMA, EITHER = ".", ",", ""


@table
class ShopFile:
    name: str = required_field("the name of who issues; an invoice needs it", '"…"', default="")
    address: list[str] = required_field(
        "the lines of the address; an invoice needs them", '["Street 1", "Town"]', factory=list
    )
    contact: str = ""
    tax_id: str = ""
    page: str = ""
    carried: str = ""
    publish: str = PUBLISHED
    device: str = "A"
    number: str = NUMBER_PATTERN
    guarantee: str = ""
    pays_by: str = ""
    iban: str = ""
    bic: str = ""
    decimal: DecimalMark = DecimalMark.EITHER
    estimate_days: int = ESTIMATE_DAYS
    jurisdiction: str = ""
    registration: str = ""
    mechanic: str = ""
    statements: dict[str, str | None] = attrs.field(factory=dict)
    zone: str = ""
    due_days: int = 0
    cash_rounding: Decimal | None = None
    language: str = ENGLISH
    screen_language: str = ENGLISH
    units: list[str] = attrs.field(factory=list)
    retention_years: int = RETENTION_YEARS
    signs: bool = False
    instruments: dict[str, InstrumentRow | None] = attrs.field(factory=dict)
    plugins: dict[str, dict[str, str | None] | None] = attrs.field(factory=dict)


def read_settings(folder: Path, *, demo: bool) -> Settings:
    """The shop's settings.

    Raises:
        DeskError: the file is missing. DataFileError: everything that is wrong with it, at once.
    """
    path = folder / SHOP_FILE
    if not path.is_file():
        cure = f"Set one up with `corekit init {folder}`, or name another folder with --shop."
        raise DeskError(f"{folder} is not a shop: there is no {SHOP_FILE} in it. {cure}")
    faults = Faults()
    data = read_toml(path)
    look_over(data, faults)
    form = structured(data, ShopFile, faults)
    if not form.name.strip() and not faults.at(("name",)):
        faults.add(("name",), "is empty", "the name of who issues; an invoice needs it")
    if not form.address and not faults.below(("address",)):
        faults.add(("address",), "is empty", "a list of lines; an invoice needs it", '["Street 1", "Town"]')
    page = form.page.rstrip("/")
    if page and (odd := base_problem(page, demo=demo)):
        faults.add(("page",), odd)
    if form.carried and (odd := static_problem(form.carried)):
        faults.add(("carried",), odd)
    _check_number(form.number, faults)
    if not 0 <= form.estimate_days <= LONGEST_ESTIMATE:
        faults.add(
            ("estimate_days",),
            f"{form.estimate_days} is no time for which an estimate holds",
            f"days from 0 (no end) to {LONGEST_ESTIMATE}",
            str(ESTIMATE_DAYS),
        )
    if form.jurisdiction and not CODE.fullmatch(form.jurisdiction):
        got = f"{quotation(form.jurisdiction)} is no code of a place"
        faults.add(
            ("jurisdiction",), got, "a code of ISO 3166", '"DE", or "US-FL" with the part of a country'
        )
    _check_zone(form.zone, faults)
    if not 0 <= form.due_days <= LONGEST_ESTIMATE:
        faults.add(
            ("due_days",),
            f"{form.due_days} is no time to pay in",
            f"days from 0 (at once) to {LONGEST_ESTIMATE}",
            "14",
        )
    if not 0 <= form.retention_years <= LONGEST_RETENTION:
        faults.add(
            ("retention_years",),
            f"{form.retention_years} is no time for which invoices are kept",
            f"years from 0 to {LONGEST_RETENTION}",
            str(RETENTION_YEARS),
        )
    if form.language not in languages():
        got = f"{quotation(form.language)} is no language that papers can be in"
        faults.add(("language",), got, any_of(map(quotation, languages())), quotation(ENGLISH))
    if form.screen_language not in screen_languages():
        got = f"{quotation(form.screen_language)} is no language that screens can be in"
        expected = any_of(map(quotation, screen_languages()))
        faults.add(("screen_language",), got, expected, quotation(ENGLISH))
    for place, one in enumerate(form.units):
        if one not in IN_PLACE_OF:
            got = f"{quotation(one)} is no unit that papers can be in"
            faults.add(
                ("units", place), got, any_of(map(quotation, IN_PLACE_OF)), '["mi", "°F", "psi", "in"]'
            )
    if form.cash_rounding is not None and not 0 < form.cash_rounding <= LARGEST_COIN:
        got = f"is {form.cash_rounding}"
        expected = f"the smallest coin, from above 0 to {LARGEST_COIN}"
        faults.add(("cash_rounding",), got, expected, '"0.05", or the file without the row')
    iban = _read(("iban",), form.iban, read_iban, "BE72 0000 0000 1616", faults)
    bic = _read(("bic",), form.bic, read_bic, "ABCDBE22", faults)
    instruments, usual = _instruments(form, faults)
    faults.refuse(data, str(path))
    return Settings(
        issuer=Issuer(
            name=form.name,
            address=tuple(form.address),
            contact=form.contact,
            tax_id=form.tax_id,
            guarantee=form.guarantee,
            pays_by=form.pays_by,
            iban=iban,
            bic=bic,
            registration=form.registration,
            mechanic=form.mechanic,
        ),
        page=page,
        carried=form.carried,
        publish=form.publish,
        device=form.device,
        number=form.number,
        instruments=instruments,
        usual=usual,
        decimal=str(form.decimal),
        estimate_days=form.estimate_days,
        jurisdiction=form.jurisdiction,
        statements={key: text for key, text in form.statements.items() if text is not None and text.strip()},
        zone=form.zone,
        due_days=form.due_days,
        cash_rounding=form.cash_rounding,
        language=form.language,
        screen_language=form.screen_language,
        units=tuple(form.units),
        retention_years=form.retention_years,
        signs=form.signs,
        plugins={
            name: {key: text for key, text in (rows or {}).items() if text is not None}
            for name, rows in form.plugins.items()
        },
    )


def _read(path: Place, text: str, read: Callable[[str], str], example: str, faults: Faults) -> str:
    """What is said of the account as it is kept; empty where nothing is, or it is a fault."""
    try:
        return read(text) if text.strip() else ""
    except InputError as error:
        faults.add(path, str(error), "as it stands on your bank's papers", quotation(example))
        return ""


def read_prices(folder: Path) -> PriceBook:
    path = folder / PRICE_FILE
    if not path.is_file():
        raise DeskError(f"{folder} has no {PRICE_FILE}; `corekit init` writes one to fill in.")
    data = read_toml(path)
    faults = Faults()
    look_over(data, faults)
    if faults.found:
        raise DataFileError(faults.in_order_of(data), PRICE_FILE)
    return read_price_book(data, PRICE_FILE)


def unknown_operations(plugins: Plugins, book: PriceBook) -> list[str]:
    """Operations that the price book prices and that no operation of an installed system is called, each in a
    sentence; what belongs to a system that is not installed waits until it is.
    """
    said = []
    for key in book.operations:
        if key not in plugins.operations and key.partition(".")[0] in plugins.systems:
            meant = near(key, plugins.operations)
            hint = f" Do you mean {any_of(map(quotation, meant))}?" if meant else ""
            said.append(f"{book.where} prices {quotation(key)}, which is no operation of its system.{hint}")
    return said


def _check_zone(zone: str, faults: Faults) -> None:
    if not zone:
        return
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        got = f"{quotation(zone)} is no time zone that this device knows"
        faults.add(
            ("zone",), got, "a name of the IANA time zone database", '"Etc/GMT-10", or "" for the device\'s'
        )


def jurisdiction_of(settings: Settings, plugins: Plugins) -> Jurisdiction:
    """The rules that hold for a shop; where nobody described the place, nothing that allows more."""
    return jurisdiction_for(settings.jurisdiction, {**plugins.jurisdictions, **jurisdictions()}, general())


def _check_number(pattern: str, faults: Faults) -> None:
    try:
        first, second = (pattern.format(year=2026, device="A", place=place) for place in (1, 2))
    except (KeyError, ValueError, IndexError):
        got, expected = f"{quotation(pattern)} cannot be filled in", "{year}, {device} and {place} only"
    else:
        if first != second:
            return
        got, expected = "every invoice would have the same number", "{place} in it"
    faults.add(("number",), got, expected, f"{expected}, such as {quotation(NUMBER_PATTERN)}")


def with_settings(plugins: Plugins, settings: Settings) -> Plugins:
    """The plugins with what the shop says of their settings; of one that is not installed it waits.

    Raises:
        DataFileError: a plugin has no such setting, or what is said of one cannot be meant.
    """
    faults, said = [], {UNITS: " ".join(settings.units)} if settings.units else {}
    for name, rows in settings.plugins.items():
        system = plugins.systems.get(name)
        for short, text in rows.items() if system is not None else ():
            assert system is not None
            at, key = path_text(("plugins", name, short)), f"{name}.{short}"
            setting = system.settings.get(key)
            if setting is None:
                known = any_of(one.key.partition(".")[2] for one in system.settings.values())
                faults.append(
                    DataFault(at, known or f"no settings of {name}", f"there is no setting {short}")
                )
                continue
            try:
                setting_value(setting, {key: text})
            except SettingError as error:
                faults.append(DataFault(at, f"{setting.title}, as {quotation(setting.default)}", str(error)))
            said[key] = text
    if faults:
        raise DataFileError(faults, SHOP_FILE)
    return attrs.evolve(plugins, said=said) if said else plugins


def declared(plugins: Plugins, settings: Settings, currency: str, book: PriceBook | None = None) -> Declared:
    """What a visit file of this shop may speak of.

    Args:
        book: For the tax rates and the work of the shop's own that it prices.

    Raises:
        DataFileError: an instrument is said to be the usual one for something that is no reading of an
            installed system. What belongs to a system that is not installed waits until it is.
    """
    known = attrs.evolve(
        Declared.of(plugins, settings.instruments, currency, settings.usual, settings.decimal),
        rates=tuple(book.rates) if book is not None else None,
        own_work=tuple(filter(is_own_work, book.operations)) if book is not None else (),
    )
    faults = []
    for key, name in settings.usual.items():
        if key not in plugins.measurands and key.partition(".")[0] in plugins.systems:
            got, expected, write = known.unknown(key, "a reading", plugins.measurands)
            faults.append(DataFault(path_text(("instruments", name, "for")), expected, got, write))
    if faults:
        raise DataFileError(faults, SHOP_FILE)
    return known


def _instruments(form: ShopFile, faults: Faults) -> tuple[dict[str, Instrument], dict[str, str]]:
    """The shop's instruments by name, and for which readings each is the usual one."""
    instruments: dict[str, Instrument] = {}
    usual: dict[str, str] = {}
    for name, row in form.instruments.items():
        path: Place = ("instruments", name)
        if row is None:
            continue
        instruments[name] = instrument = row.record(name)
        if not instrument.accuracy.strip() and not faults.at((*path, "accuracy")):
            got = "is missing" if row.accuracy is None else "is empty"
            faults.add((*path, "accuracy"), got, "the accuracy on its sheet", '"0.5 % + 2 digits"')
        for place, got, expected, write in Datasheet.of(instrument).faults():
            faults.add((*path, *place), got, expected, write)
        for n, key in enumerate(row.for_ or []):
            if key is not None and usual.setdefault(key, name) != name:
                got = f"{usual[key]} is the usual one for {key} already"
                faults.add((*path, "for", n), got, "one usual instrument", "it with one of the two")
    return instruments, usual
