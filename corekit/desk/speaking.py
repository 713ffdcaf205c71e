"""Papers in the customer's language: as a whole, or where a text of one has no translation, in English."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ..billing.line import Line
from ..languages import ENGLISH
from ..model.account_number import grouped
from ..model.document import Document
from ..model.job import Job
from ..model.source import PUBLISHED
from ..plugin.host import Plugins
from ..report.language import Translated, in_language
from .context import ShopContext


def language_of(shop: ShopContext, job: Job) -> str:
    """The customer's, or the shop's where the job says none."""
    return job.customer.language or shop.settings.language


def spoken(
    shop: ShopContext, jobs: Sequence[Job], document: Document, lines: Iterable[Line] = ()
) -> Document:
    """A Document before it is handed over, in the language of its (first) job: no paper speaks two languages.

    Args:
        lines: Of the paper; what they call is the shop's own.
    """
    language = language_of(shop, jobs[0])
    if language == ENGLISH:
        return document
    found = _translated(shop, jobs, document, lines, language)
    return document if found.missing else found.document


def untranslated(
    shop: ShopContext, jobs: Sequence[Job], document: Document, lines: Iterable[Line] = ()
) -> tuple[str, ...]:
    """Texts of a paper that have no translation: why it is in English for a customer of another language."""
    language = language_of(shop, jobs[0])
    if language == document.language:
        return ()
    return _translated(shop, jobs, document, lines, language).missing


def _translated(
    shop: ShopContext, jobs: Sequence[Job], document: Document, lines: Iterable[Line], language: str
) -> Translated:
    """Each system has its own texts beside its tables."""
    folders = tuple(system.folder for system in shop.plugins.systems.values())
    return in_language(
        document, language, (*own_names(shop, jobs, lines), *published_titles(shop.plugins)), folders
    )


def paper_language(shop: ShopContext, ids: Sequence[str], document: Document) -> str:
    """In a sentence why a paper of these jobs is not in its customer's language; empty where it is."""
    jobs = [shop.store.job(job) for job in ids]
    missing = untranslated(shop, jobs, document)
    if not missing:
        return ""
    return (
        f"The document is in English: {len(missing)} of its texts have no translation into"
        f" {language_of(shop, jobs[0])!r}, the first is “{missing[0][:80]}”."
    )


def own_names(shop: ShopContext, jobs: Sequence[Job], lines: Iterable[Line] = ()) -> Iterator[str]:
    """What shop and customer call things by: nobody translates that."""
    issuer = shop.settings.issuer
    yield from (issuer.name, *issuer.address, issuer.contact, issuer.tax_id, issuer.guarantee)
    yield from (issuer.pays_by, issuer.registration, issuer.mechanic, issuer.bic)
    yield ", ".join(filter(None, (issuer.name, *issuer.address, issuer.contact)))
    if issuer.iban:
        yield grouped(issuer.iban)
    yield from shop.settings.statements.values()
    book = shop.prices
    yield from (key for key in book.operations if "." not in key)
    yield from (part.name for work in book.operations.values() for part in work.parts)
    yield from (part.number for work in book.operations.values() for part in work.parts)
    yield book.outside_tax
    yield from shop.settings.instruments
    for job in jobs:
        yield job.name
        yield from (noted.record.cause for noted in job.repairs)
        yield from (noted.record.operation for noted in job.requested if "." not in noted.record.operation)
        yield from (noted.record.because for noted in job.requested)
        parts = [part for priced in job.priced.values() for part in priced.parts]
        yield from (part.get(key, "") for part in parts for key in ("name", "number"))
        if job.ended is not None:
            yield job.ended.record.because
    for line in lines:
        if line.condition is not None:
            yield line.number


def published_titles(plugins: Plugins) -> Iterator[str]:
    """The titles of the documents that systems cite, and their parts: the same in every language."""
    for system in plugins.systems.values():
        published = (source.title for source in system.sources.values() if source.basis in PUBLISHED)
        yield from (name for title in published for name in (title, *title.split(", ")))
