"""What the page server shows: HTML from the files of `templates/open`, and how a Document gets into it.

What stands around a Document is in the Document's language; what is shown before one is opened, in the
language that the browser asks for, else in the shop's.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from pathlib import Path

import attrs
import jinja2
from markupsafe import Markup, escape

from ..languages import ENGLISH, screen_languages
from ..model.canonical import canonical
from ..model.document import Document, PricedLines, to_data
from ..model.mark import as_marked
from ..report.text import clean
from ..report.tongue import in_tongue, tongue_of
from ..share.answer import pieces_of
from .server import ServeError


@attrs.frozen(kw_only=True)
class Renderers:
    """How a Document becomes what a browser gets: a piece of HTML, the styles it needs, and a PDF, all
    masked. Called from several threads at once.
    """

    page: Callable[[Document, str], str]
    css: Callable[[], str]
    paper: Callable[[Document, str], bytes]


def masked_renderers() -> Renderers:
    """The renderers of `corekit.report`, told to leave every personal text out.

    The mark they print is the one that the Document's content leads to, whatever it states.
    """
    from ..report.page import page_css, render_page
    from ..report.pdf import render_pdf
    from ..report.personal_text import mask

    return Renderers(
        page=lambda document, address: render_page(as_marked(document), mask, address),
        css=page_css,
        paper=lambda document, address: render_pdf(as_marked(document), mask, address),
    )


class PageTemplates:
    """Everything in HTML, made from the files of `templates/open`; what never changes is made once."""

    def __init__(self, templates: Path, css: str, *, demo: bool) -> None:
        self._files = jinja2.Environment(
            loader=jinja2.FileSystemLoader(templates),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            keep_trailing_newline=True,
        )
        self._demo = demo
        self._style = element_text("style", (templates / "open.css").read_text("utf-8") + css)
        scripts = ((templates / name).read_text("utf-8") for name in ("mark.js", "open.js"))
        self._script = element_text("script", "".join(scripts))
        self.mark = (templates / "mark.svg").read_bytes()
        self.shells = {language: self.page("", language=language) for language in screen_languages()}
        self.nothing, self.busy = self._in_each("nothing.html"), self._in_each("busy.html")
        self.policy = "; ".join(
            (
                "default-src 'none'",
                f"script-src {policy_hash(self._script)}",
                f"style-src {policy_hash(self._style)}",
                "font-src 'self'",
                "img-src 'self'",
                "connect-src 'self'",
                "form-action 'self'",
                "base-uri 'none'",
                "object-src 'none'",
                "frame-ancestors 'none'",
            )
        )

    def page(self, content: str, title: str = "", language: str = ENGLISH) -> str:
        """A full page with `content`, which is HTML already and in the language, in its middle."""
        frame = self._files.get_template("shell.html").render(
            shown=_CONTENT if content else "",
            title=_TITLE if title else "",
            demo=self._demo,
            style=Markup(self._style),
            script=Markup(self._script),
        )
        return spoken(frame, language).replace(_TITLE, escape(title), 1).replace(_CONTENT, content, 1)

    def _in_each(self, name: str) -> dict[str, str]:
        """A file that is the same for everybody, by language."""
        text = self._files.get_template(name).render()
        return {language: spoken(text, language) for language in screen_languages()}

    def opened(self, document: Document, code: str, paper: str) -> str:
        """The piece of HTML for an opened code: `paper`, the rendered Document itself.

        What is no account has its number, date, total and what was done before it, in brief. All of it is in
        the Document's language.
        """
        priced = (block for block in document.blocks if isinstance(block, PricedLines))
        total = (
            document.total if document.currency in document.total else f"{document.total} {document.currency}"
        )
        head = {name: clean(getattr(document, name)) for name in ("shop", "title", "number", "issued")}
        piece = self._files.get_template("opened.html").render(
            **head,
            language=document.language,
            kind=document.kind.value,
            account=document.form > 1,
            demo=document.demo,
            total=clean(total),
            done=[clean(row.text) for block in priced for row in block.rows],
            code=code,
            pieces=[(clean(what), clean(price)) for what, price in pieces_of(document)],
            whole=Markup(paper),
            content=content_text(document) if document.rests_on else "",
        )
        return spoken(piece, document.language).replace(
            '<article class="opened">', f'<article class="opened" lang="{language_of(document)}">', 1
        )

    def trouble(self, heading: str, words: str, language: str = ENGLISH) -> str:
        piece = self._files.get_template("trouble.html").render(heading=heading, words=words)
        tongue = tongue_of(language)
        title = tongue.said(heading) if tongue is not None else heading
        return self.page(spoken(piece, language), title, language)


#: What stands in a frame until it is put into a language.
_CONTENT, _TITLE = Markup("<!--content-->"), Markup("<!--title-->")


def language_of(document: Document) -> str:
    """Of what stands around it: its own, where screens can be in it."""
    return document.language if document.language in screen_languages() else ENGLISH


def spoken(text: str, language: str) -> str:
    """HTML that was made in English, in the language; in one that screens cannot be in, as it is."""
    tongue = tongue_of(language) if language in screen_languages() else None
    return text if tongue is None else in_tongue(text, tongue)


def content_text(document: Document) -> Markup:
    """The Document's own data, as the page's script reads it to compute the mark."""
    return data_text(canonical(to_data(document)))


def data_text(data: bytes) -> Markup:
    """JSON as it stands inside an element: no sign of it can end the element."""
    text = data.decode("utf-8")
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def policy_hash(text: str) -> str:
    """By which a policy lets an inline style or script through."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def element_text(tag: str, text: str) -> str:
    """Style or script as it stands inside its element; a browser hashes the text after making every line end
    a LF.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if f"</{tag}" in text.lower() or "<!--" in text:
        raise ServeError(
            f"The page's {tag} holds </{tag} or <!--, which would end or hide it; write it otherwise."
        )
    return text
