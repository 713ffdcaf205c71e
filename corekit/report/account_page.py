"""The account on the page: what its templates are given of a Document of form 2.

All before `Evidence` stands open, the evidence is folded. Who and which vehicle move down to the question
whether page and paper belong together, because the first screen of a phone is for the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

import attrs
from markupsafe import Markup

from ..model.document import (
    Account,
    AccountRow,
    Answer,
    ApprovalForm,
    Block,
    Evidence,
    NextSteps,
    Pairs,
    ProofRow,
    ReadingRow,
    Readings,
    Totals,
    Words,
    WorkRow,
)
from ..model.figure import Strip
from ..model.personal import Personal
from .personal_text import mask, removal_note
from .strip_svg import strip_svg
from .text import Resolve, clean, plain_text
from .wording import wording


@attrs.frozen(kw_only=True)
class PageParts:
    """A Document's blocks as the page orders them: in front, who and which vehicle, and behind `title`."""

    front: tuple[Block, ...]
    who: tuple[Pairs, ...]
    title: str
    behind: tuple[Block, ...]


def page_parts(blocks: Sequence[Block]) -> PageParts:
    """The blocks of a Document of form 2, in the page's order.

    Pairs before the first answer say who and which vehicle; later ones belong to what stands beside them.
    """
    at = next((nth for nth, block in enumerate(blocks) if isinstance(block, Evidence)), len(blocks))
    front, behind = list(blocks[:at]), blocks[at + 1 :]
    first = next((nth for nth, block in enumerate(front) if isinstance(block, Answer)), 0)
    who = [block for block in front[:first] if isinstance(block, Pairs)]
    front = [block for nth, block in enumerate(front) if not (nth < first and isinstance(block, Pairs))]
    evidence = blocks[at] if at < len(blocks) else None
    return PageParts(
        front=tuple(front),
        who=tuple(who),
        title=evidence.title if isinstance(evidence, Evidence) else "",
        behind=tuple(behind),
    )


def account_data(
    block: Answer | Account | NextSteps | ApprovalForm,
    readings: Sequence[ReadingRow],
    resolve: Resolve,
    key: str,
) -> dict[str, Any]:
    """What the templates show of a block that only an account has.

    Args:
        block: What to show.
        readings: The Document's, which say how a proof was measured.
        resolve: What references to personal text become.
        key: Tells this block's ids apart from those of others on the page.
    """
    if isinstance(block, Answer):
        return _answer(block, resolve)
    if isinstance(block, Account):
        return _account(block, readings, key)
    if isinstance(block, NextSteps):
        return {"rows": [(clean(label), plain_text(words, resolve)) for label, words in block.rows]}
    return {
        "works": [(clean(what), clean(price)) for what, price in block.works],
        "valid_until": clean(block.valid_until),
        "otherwise": clean(block.otherwise),
    }


def readings_of(blocks: Sequence[Block]) -> list[ReadingRow]:
    """Every reading of a Document."""
    return [row for block in blocks if isinstance(block, Readings) for row in block.rows]


def settle_front(front: Sequence[Block], shown: Sequence[dict[str, Any]]) -> None:
    """Adds what stands between blocks, and leaves out what would push a row off the first screen.

    Totals get the works and parts of every account since the totals before. Where the rows of an account
    name the points of a complaint one by one, the answer above need not; where they are many, its proof goes
    below.
    """
    answer: dict[str, Any] = {}
    lines: list[dict[str, str]] = []
    for block, data in zip(front, shown, strict=True):
        if isinstance(block, Answer):
            answer = data
        elif isinstance(block, Account):
            lines += [work for row in data["rows"] for work in row["works"]]
            if answer and not answer["said"] and any(row["point"] for row in data["rows"]):
                answer["symptoms"] = ""
            if answer and sum(bool(row["first"]) for row in data["rows"]) > _ROWS_UNDER_A_PROOF:
                data["proof"], answer["proof"] = answer["proof"], ""
            answer = {}
        elif isinstance(block, Totals):
            data["lines"], lines = lines, []


#: Rows with a strip that have room on the first screen of a phone below the answer's proof.
_ROWS_UNDER_A_PROOF = 2


def who_rows(who: Sequence[Pairs], resolve: Resolve) -> list[tuple[str, str]]:
    """Who and which vehicle, without the rows of which nothing is left where personal text is masked: whoever
    shows the page says in its own words that names and plate are left out.
    """
    return [
        (clean(label), plain_text(words, resolve))
        for block in who
        for label, words in block.rows
        if not _is_masked_throughout(words, resolve)
    ]


def _is_masked_throughout(words: Words, resolve: Resolve) -> bool:
    personal = [run for run in words if isinstance(run, Personal)]
    rest = "".join(run for run in words if isinstance(run, str))
    return (
        bool(personal)
        and not any(char.isalnum() for char in rest)
        and all(resolve(run) == mask(run) for run in personal)
    )


def _answer(answer: Answer, resolve: Resolve) -> dict[str, Any]:
    said = "" if _is_hidden(answer.said, resolve) and answer.symptoms else plain_text(answer.said, resolve)
    return {
        "said": said.strip(),
        "symptoms": _sentence(answer.symptoms),
        "text": clean(answer.text),
        "proof": clean(answer.proof),
        "facts": [(clean(label), clean(words), strong) for label, words, strong in answer.facts],
    }


def _is_hidden(words: Words, resolve: Resolve) -> bool:
    """Whether somebody's own words are masked or removed here."""
    return any(
        resolve(run) in (mask(run), removal_note(run)) for run in words if isinstance(run, Personal)
    ) or not plain_text(words, resolve)


def _account(account: Account, readings: Sequence[ReadingRow], key: str) -> dict[str, Any]:
    several = len({row.point for row in account.rows if row.point}) > 1
    currency = clean(account.currency)
    rows = [
        _row(row, readings, f"{key}-{nth}", currency, with_point=several)
        for nth, row in enumerate(account.rows)
    ]
    return {
        "rows": rows,
        "proof": "",
        "key": any(proof["svg"] for row in rows for proof in row["proofs"]),
    }


def _worth(works: Sequence[dict[str, str]], currency: str) -> str:
    """What the works and parts of a row come to before tax, or why nothing of it is charged; empty where a
    text is no amount.
    """
    texts = [work["net"] for work in works if work["net"]]
    has_comma = any("," in text for text in texts)  # the decimal mark of some languages
    try:
        amounts = [Decimal(text.replace(".", "").replace(",", ".") if has_comma else text) for text in texts]
    except InvalidOperation:
        return ""
    if amounts:
        said = f"{sum(amounts)} {currency}".strip()
        return said.replace(".", ",") if has_comma else said
    return next((work["reason"] for work in works if work["reason"]), "")


def _row(
    row: AccountRow, readings: Sequence[ReadingRow], key: str, currency: str, *, with_point: bool
) -> dict[str, Any]:
    proofs = [_proof(proof, readings, f"{key}-{nth}") for nth, proof in enumerate(row.proofs)]
    point = _sentence(row.point)
    works = [_work(work) for work in row.works]
    return {
        "point": point if with_point and row.what else "",
        "what": clean(row.what) or point,
        "state": _sentence(row.state),
        "done": works[0]["text"] if works else "",
        "net": _worth(works, currency),
        "first": next((proof for proof in proofs if proof["svg"]), next(iter(proofs), None)),
        "cause": clean(row.cause),
        "proofs": proofs,
        "works": works,
        "next": clean(row.next),
        "opens": bool(row.cause or row.next or proofs or len(works) > 1 or any(w["more"] for w in works)),
    }


def _proof(proof: ProofRow, readings: Sequence[ReadingRow], key: str) -> dict[str, Any]:
    before, now = clean(proof.before), clean(proof.now)
    name = clean(proof.name)
    svg = Markup(_strip(proof.strip, key, name, before, now)) if proof.strip is not None else None
    behind = next(
        (row for row in readings if proof.strip is not None and row.strip == proof.strip),
        next((row for row in readings if row.name == proof.name), None),
    )
    return {
        "name": name,
        "before": before if now else "",
        "now": now or before,
        "seen": clean(proof.seen),
        "usual": _sentence(proof.usual),
        "svg": svg,
        "measured": clean(behind.note) if behind else "",
        "limit": clean(behind.limit) if behind and not proof.usual else "",
        "source": clean(behind.source) if behind else "",
    }


def _strip(strip: Strip, key: str, name: str, before: str, now: str, class_name: str = "") -> str:
    words = wording()["page"]
    both = strip.before is not None
    return strip_svg(
        strip,
        key,
        name=name,
        before=words["before"].format(value=before) if before else "",
        now=words["now"].format(value=now) if both and now else now or before,
        class_name=class_name,
    )


def evidence_strip(row: ReadingRow, key: str) -> str:
    """The strip of a reading among the evidence; its words grow with the reader's own, as a row's do."""
    assert row.strip is not None
    before, now = (clean(text).partition(" ±")[0] for text in (row.before, row.after))
    return _strip(row.strip, key, clean(row.name), before, now, class_name=" strip")


def _work(work: WorkRow) -> dict[str, str]:
    return {
        "text": clean(work.text),
        "more": clean(work.detail),
        "net": clean(work.net),
        "reason": clean(work.reason),
    }


def _sentence(text: str) -> str:
    """The text with a capital at its beginning."""
    text = clean(text)
    return text[:1].upper() + text[1:]
