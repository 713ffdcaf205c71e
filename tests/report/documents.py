"""Documents drawn at random, for laws that hold for every Document."""

from __future__ import annotations

from hypothesis import strategies as st

from corekit.model.document import (
    Account,
    AccountRow,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Document,
    DocumentKind,
    Evidence,
    FindingRow,
    Findings,
    Heading,
    NextSteps,
    Pairs,
    Paragraph,
    Picture,
    PricedLines,
    PricedRow,
    ProofRow,
    ReadingRow,
    Readings,
    Statement,
    Table,
    Totals,
    WorkRow,
)
from corekit.model.figure import Band, Dot, Figure, Label, Polyline, Strip
from corekit.model.personal import Personal

_WORDS = (
    "battery",
    "voltage",
    "under",
    "load",
    "Öl",
    "winding",
    "≤",
    "earth leg",
    "at rest",
    "Ω",
    "& more",
    "<b>",
    "drain",
    "→",
)
amounts = st.decimals(min_value=0, max_value=99999, places=2).map(str)
readings = st.builds(
    "{} {}".format,
    st.decimals(min_value=0, max_value=9999, places=2),
    st.sampled_from(["V", "mA", "Ω", "°C", "%"]),
)
words = st.lists(st.sampled_from(_WORDS), min_size=1, max_size=5).map(" ".join)
sentences = st.lists(words | readings, min_size=1, max_size=9).map(" ".join)
typed = st.sampled_from(["h-name", "h-words", "h-plate"]).map(
    lambda name: Personal(name.removeprefix("h-"), name)
)
runs = st.lists(sentences | typed, min_size=1, max_size=3).map(
    lambda parts: tuple(part for pair in parts for part in (pair, " "))
)


@st.composite
def strips(draw: st.DrawFn) -> Strip:
    low = draw(st.floats(-50, 50).map(lambda value: round(value, 1)))
    span = draw(st.floats(0.5, 500).map(lambda value: round(value, 1)))
    inside = st.floats(0, 1).map(lambda share: round(low + share * span, 2))
    ends = sorted((draw(inside), draw(inside)))
    shape = draw(st.sampled_from(["both", "low", "high", "none"]))
    return Strip(
        unit="V",
        low_end=low,
        high_end=low + span,
        allowed_low=ends[0] if shape in ("both", "low") else None,
        allowed_high=ends[1] if shape in ("both", "high") else None,
        reading=draw(inside),
        uncertainty=round(span / draw(st.integers(10, 90)), 3),
        before=draw(st.none() | inside),
        before_uncertainty=0.0,
    )


figures = st.builds(
    lambda marks, title, text: Figure(
        width=100, height=10, height_mm=20, title=title, description=text, marks=tuple(marks)
    ),
    st.lists(
        st.builds(Label, st.floats(20, 80), st.floats(1, 9), words)
        | st.builds(Dot, st.floats(0, 100), st.floats(0, 10), st.booleans())
        | st.builds(Band, st.floats(0, 40), st.floats(0, 4), st.floats(50, 90), st.floats(5, 9))
        | st.builds(
            Polyline,
            st.lists(st.tuples(st.floats(0, 100), st.floats(0, 10)), min_size=2, max_size=6).map(tuple),
            st.just(1.0),
            st.booleans(),
        ),
        max_size=6,
    ),
    words,
    sentences,
)


def tuples(of: st.SearchStrategy, most: int) -> st.SearchStrategy:  # type: ignore[type-arg]
    return st.lists(of, min_size=1, max_size=most).map(tuple)


def blocks(*, strips_too: bool) -> st.SearchStrategy[Block]:
    strip = st.none() | strips() if strips_too else st.none()
    rows = st.builds(
        ReadingRow,
        name=words,
        before=readings,
        after=st.just("") | readings,
        limit=st.just("") | sentences,
        source=sentences,
        note=sentences,
        strip=strip,
    )
    return st.one_of(
        st.builds(Heading, text=sentences, level=st.integers(1, 3)),
        st.builds(
            Paragraph, words=runs, tone=st.sampled_from(["plain", "small", "strong", "quote", "choice"])
        ),
        st.builds(Pairs, rows=tuples(st.tuples(words, runs), 5)),
        st.builds(
            Findings,
            rows=tuples(
                st.builds(
                    FindingRow,
                    text=sentences,
                    verdict=words,
                    urgency=words,
                    basis=sentences,
                    stage=st.just("after 1"),
                ),
                5,
            ),
        ),
        st.builds(Readings, rows=tuples(rows, 12)),
        st.builds(Picture, figure=figures) if strips_too else st.builds(Heading, text=words),
        st.builds(
            PricedLines,
            rows=tuples(
                st.builds(
                    PricedRow,
                    text=sentences,
                    ground=sentences,
                    quantity=readings,
                    price=amounts,
                    net=amounts,
                    tax=st.just("19 %"),
                ),
                12,
            ),
            currency=st.just("EUR"),
        ),
        st.builds(Totals, rows=tuples(st.tuples(words, amounts, st.booleans()), 5), currency=st.just("EUR")),
        st.builds(
            Table,
            titles=st.just(("Day", "What", "Net", "EUR")),
            rows=tuples(st.tuples(words, sentences, amounts, amounts), 5),
            shares=st.just((10.0, 60.0, 15.0, 15.0)),
            numbers=st.just(2),
        ),
        st.builds(Statement, title=words, words=runs),
    )


def documents(*, strips_too: bool = True) -> st.SearchStrategy[Document]:
    end = st.just(Code(document_id="d", link=1, record_mark="QX7K-M24P-TB9D-H6WE"))
    return st.builds(
        Document,
        id=st.just("d"),
        kind=st.sampled_from(DocumentKind),
        number=st.just("2026-0001"),
        title=st.just("Invoice 2026-0001"),
        shop=st.just("Kerbside Example Mechanics"),
        issued=st.just("24 November 2026"),
        currency=st.just("EUR"),
        total=amounts,
        blocks=st.tuples(st.lists(blocks(strips_too=strips_too), max_size=9), end).map(
            lambda pair: (*pair[0], pair[1])
        ),
        demo=st.booleans(),
    )


def accounts(*, strips_too: bool = True) -> st.SearchStrategy[Document]:
    """Papers of form 2: who and which vehicle, answer and account, what next, the bill, the code, and the
    evidence behind.
    """
    maybe = st.just("") | sentences
    proof = st.builds(
        ProofRow,
        name=words,
        before=st.just("") | readings,
        now=st.just("") | readings,
        seen=maybe,
        usual=st.just("") | readings,
        strip=st.none() | strips() if strips_too else st.none(),
    )
    work = st.builds(
        WorkRow,
        text=sentences,
        detail=maybe,
        net=amounts,
        reason=st.just(""),
    ) | st.builds(WorkRow, text=sentences, reason=sentences)
    row = st.builds(
        AccountRow,
        point=maybe,
        what=maybe,
        cause=maybe,
        proofs=st.lists(proof, max_size=2).map(tuple),
        works=st.lists(work, max_size=4).map(tuple),
        state=words,
        next=maybe,
    )
    answer = st.builds(
        Answer,
        said=st.just(()) | runs,
        symptoms=maybe,
        text=sentences,
        proof=maybe,
        facts=st.lists(st.tuples(words, sentences, st.booleans()), max_size=3).map(tuple),
    )
    told = st.tuples(
        answer, st.builds(Account, rows=st.lists(row, max_size=5).map(tuple), currency=st.just("EUR"))
    )
    next_steps = st.builds(NextSteps, rows=st.lists(st.tuples(words, runs), max_size=4).map(tuple))
    form = st.builds(
        ApprovalForm,
        works=st.lists(st.tuples(sentences, amounts), max_size=4).map(tuple),
        valid_until=maybe,
        otherwise=maybe,
    )
    between = st.one_of(next_steps, form, blocks(strips_too=strips_too))
    front = st.tuples(
        st.builds(Pairs, rows=tuples(st.tuples(words, runs), 5)), told, st.lists(between, max_size=4)
    ).map(lambda parts: (parts[0], *parts[1], *parts[2]))
    code = st.just((Code(document_id="d", link=1, record_mark="QX7K-M24P-TB9D-H6WE"),))
    behind = st.just(()) | st.tuples(
        st.builds(Evidence, title=words), st.lists(blocks(strips_too=strips_too), max_size=5)
    ).map(lambda pair: (pair[0], *pair[1]))
    return st.builds(
        Document,
        id=st.just("d"),
        kind=st.sampled_from([DocumentKind.INVOICE, DocumentKind.ESTIMATE]),
        number=st.just("2026-0001"),
        title=st.just("Invoice 2026-0001"),
        shop=st.just("Kerbside Example Mechanics"),
        issued=st.just("24 Nov 2026"),
        currency=st.just("EUR"),
        total=amounts,
        blocks=st.tuples(front, code, behind).map(lambda three: (*three[0], *three[1], *three[2])),
        demo=st.booleans(),
        form=st.just(2),
    )
