"""Documents as data: nothing is lost on the way, and the hash is over all of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, get_args

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.errors import InputError
from corekit.model.canonical import canonical
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
    PhotoRow,
    Photos,
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
    document_hash,
    from_data,
    to_data,
)
from corekit.model.figure import Band, Dot, Figure, Label, Mark, Polyline, Strip
from corekit.model.personal import Personal

TEXT = st.text(max_size=12)
NUMBER = st.floats(-1e6, 1e6)
FLAG = st.booleans()
PIXELS = st.integers(1, 100_000)
WORDS = st.lists(TEXT | st.builds(Personal, st.sampled_from(["name", "plate"]), TEXT), max_size=3).map(tuple)


def rows(one: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(one, max_size=3).map(tuple)


STRIP = st.builds(
    Strip,
    unit=TEXT,
    low_end=NUMBER,
    high_end=NUMBER,
    allowed_low=st.none() | NUMBER,
    allowed_high=st.none() | NUMBER,
    reading=NUMBER,
    uncertainty=NUMBER,
    before=st.none() | NUMBER,
    before_uncertainty=NUMBER,
)
MARK = (
    st.builds(Polyline, rows(st.tuples(NUMBER, NUMBER)), NUMBER, FLAG)
    | st.builds(Band, NUMBER, NUMBER, NUMBER, NUMBER, NUMBER)
    | st.builds(Dot, NUMBER, NUMBER, FLAG, NUMBER)
    | st.builds(Label, NUMBER, NUMBER, TEXT, TEXT, NUMBER)
)
FIGURE = st.builds(
    Figure, width=NUMBER, height=NUMBER, height_mm=NUMBER, title=TEXT, description=TEXT, marks=rows(MARK)
)
BLOCK = st.one_of(
    st.builds(Heading, text=TEXT, level=st.integers(1, 3)),
    st.builds(Paragraph, words=WORDS, tone=TEXT),
    st.builds(Pairs, rows=rows(st.tuples(TEXT, WORDS))),
    st.builds(
        Findings,
        rows=rows(st.builds(FindingRow, text=TEXT, verdict=TEXT, urgency=TEXT, basis=TEXT, stage=TEXT)),
    ),
    st.builds(
        Readings,
        rows=rows(
            st.builds(
                ReadingRow,
                name=TEXT,
                before=TEXT,
                after=TEXT,
                limit=TEXT,
                source=TEXT,
                note=TEXT,
                strip=st.none() | STRIP,
            )
        ),
    ),
    st.builds(Picture, figure=FIGURE),
    st.builds(
        Photos,
        rows=rows(st.builds(PhotoRow, image=WORDS, width=PIXELS, height=PIXELS, what=WORDS, when=TEXT)),
    ),
    st.builds(
        PricedLines,
        rows=rows(
            st.builds(
                PricedRow, text=TEXT, ground=TEXT, quantity=TEXT, price=TEXT, net=TEXT, tax=TEXT, note=TEXT
            )
        ),
        currency=TEXT,
    ),
    st.builds(Totals, rows=rows(st.tuples(TEXT, TEXT, FLAG)), currency=TEXT),
    st.builds(
        Table, titles=st.just(("a", "b")), rows=rows(st.tuples(TEXT, TEXT)), shares=st.just((1.0, 1.0))
    ),
    st.builds(Statement, title=TEXT, words=WORDS),
    st.builds(Code, document_id=TEXT, link=st.integers(0, 99), record_mark=TEXT),
    st.builds(
        Answer,
        said=WORDS,
        symptoms=TEXT,
        text=TEXT,
        proof=TEXT,
        facts=rows(st.tuples(TEXT, TEXT, FLAG)),
    ),
    st.builds(
        Account,
        rows=rows(
            st.builds(
                AccountRow,
                point=TEXT,
                what=TEXT,
                cause=TEXT,
                proofs=rows(
                    st.builds(
                        ProofRow,
                        name=TEXT,
                        before=TEXT,
                        now=TEXT,
                        seen=TEXT,
                        usual=TEXT,
                        strip=st.none() | STRIP,
                    )
                ),
                works=rows(st.builds(WorkRow, text=TEXT, detail=TEXT, net=TEXT, reason=TEXT)),
                state=TEXT,
                next=TEXT,
            )
        ),
        currency=TEXT,
    ),
    st.builds(NextSteps, rows=rows(st.tuples(TEXT, WORDS))),
    st.builds(ApprovalForm, works=rows(st.tuples(TEXT, TEXT)), valid_until=TEXT, otherwise=TEXT),
    st.builds(Evidence, title=TEXT),
)
DOCUMENT = st.builds(
    Document,
    id=TEXT,
    kind=st.sampled_from(DocumentKind),
    title=TEXT,
    shop=TEXT,
    issued=TEXT,
    currency=TEXT,
    total=TEXT,
    blocks=rows(BLOCK),
    number=TEXT,
    draft=FLAG,
    demo=FLAG,
    language=TEXT,
    form=st.integers(1, 2),
)

FULL = Document(
    id="d",
    kind=DocumentKind.INVOICE,
    title="Invoice 1",
    shop="Shop",
    issued="1 July 2026",
    currency="EUR",
    total="1.00",
    number="1",
    draft=True,
    demo=True,
    language="de",
    form=2,
    mark="ABCD-EFGH-JKMN-PQRS",
    rests_on="ab" * 32,
    carried="aZ0-_",
    carried_mark="ABCD-EFGH",
    carried_key="KEYS-KEYS-KEYS-KEYS",
    no_carried="too long",
    no_page="not there yet",
    transfer="BCD",
    prices="with tax",
    blocks=(
        Heading(text="What we found", level=2),
        Paragraph(words=("Told: ", Personal("words", "h1")), tone="quote"),
        Pairs(rows=(("Plate", (Personal("plate", "h2"),)),)),
        Findings(
            rows=(FindingRow(text="t", verdict="fail", urgency="this visit", basis="b", stage="arrival"),)
        ),
        Readings(
            rows=(
                ReadingRow(
                    name="n",
                    before="1 V",
                    after="2 V",
                    limit="at least 1 V",
                    source="s",
                    note="o",
                    strip=Strip(
                        unit="V",
                        low_end=0.5,
                        high_end=3.5,
                        allowed_low=1.5,
                        allowed_high=2.5,
                        reading=2.1,
                        uncertainty=0.1,
                        before=1.1,
                        before_uncertainty=0.2,
                    ),
                ),
            )
        ),
        Picture(
            figure=Figure(
                width=10.5,
                height=5.5,
                height_mm=30.5,
                title="t",
                description="d",
                marks=(
                    Polyline(((0.5, 0.5), (1.5, 1.5)), 1.5, True),
                    Band(0.5, 0.5, 1.5, 1.5, 0.25),
                    Dot(0.5, 0.5, False, 3.5),
                    Label(0.5, 0.5, "x", "end", 6.5),
                ),
            )
        ),
        Photos(
            rows=(
                PhotoRow(
                    image=(Personal("photo", "ph"),),
                    width=4,
                    height=3,
                    what=("The left door",),
                    when="On arrival",
                ),
            )
        ),
        PricedLines(
            rows=(
                PricedRow(text="t", ground="g", quantity="1", price="1.00", net="1.00", tax="20 %", note="n"),
            ),
            currency="EUR",
        ),
        Totals(rows=(("Total", "1.00", True),), currency="EUR"),
        Table(titles=("Net", "EUR"), rows=(("1.00", "1.20"),), shares=(2.5, 1.5), numbers=2),
        Statement(title="DEMO", words=("Not a bill.",)),
        Code(document_id="d", link=1, record_mark="ABCD"),
        Answer(
            said=("Slow to start",),
            symptoms="turns over slowly",
            text="Put right.",
            proof="It starts.",
            facts=(("Total", "1.00", True),),
        ),
        Account(
            rows=(
                AccountRow(
                    point="turns over slowly",
                    what="Worn-out battery",
                    cause="c",
                    proofs=(
                        ProofRow(
                            name="n",
                            before="8 V",
                            now="10 V",
                            seen="s",
                            usual="at least 9.5 V",
                            strip=Strip(
                                unit="V",
                                low_end=7.5,
                                high_end=12.5,
                                allowed_low=9.5,
                                allowed_high=12.25,
                                reading=10.1,
                                uncertainty=0.1,
                                before=8.1,
                                before_uncertainty=0.2,
                            ),
                        ),
                    ),
                    works=(WorkRow(text="t", detail="0.6 h", net="1.00", reason="r"),),
                    state="put right and shown",
                    next="nothing",
                ),
            ),
            currency="EUR",
        ),
        NextSteps(rows=(("Guarantee", ("12 months",)),)),
        ApprovalForm(works=(("Replace", "1.00"),), valid_until="1 August 2026", otherwise="o"),
        Evidence(title="How we know"),
    ),
)


def leaves(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    inner = (
        data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, (list, tuple)) else ()
    )
    if not isinstance(data, (dict, list, tuple)):
        yield path
    for key, item in inner:
        yield from leaves(item, (*path, key))


def plain(document: Document) -> Any:
    return json.loads(json.dumps(to_data(document)))


LEAVES = [path for path in leaves(plain(FULL)) if path[-1] not in ("is", "kind")]


@settings(max_examples=60)
@given(DOCUMENT)
def test_a_document_comes_back_equal_from_its_data(document: Document) -> None:
    assert from_data(plain(document)) == document
    assert document_hash(from_data(plain(document))) == document_hash(document)


def test_the_full_document_has_every_block_every_mark_and_no_field_left_as_it_comes() -> None:
    assert {type(block) for block in FULL.blocks} == set(get_args(Block))
    assert {
        type(mark) for block in FULL.blocks if isinstance(block, Picture) for mark in block.figure.marks
    } == set(get_args(Mark))
    everything = [
        FULL,
        *FULL.blocks,
        *(row for block in FULL.blocks for row in getattr(block, "rows", ()) if attrs.has(type(row))),
    ]
    for part in everything:
        for field in attrs.fields(type(part)):
            assert field.default is attrs.NOTHING or getattr(part, field.name) != field.default, (
                type(part),
                field.name,
            )


@pytest.mark.parametrize("path", LEAVES, ids=lambda path: ".".join(map(str, path)))
def test_the_hash_changes_with_every_field(path: tuple[Any, ...]) -> None:
    data = plain(FULL)
    holder = data
    for key in path[:-1]:
        holder = holder[key]
    old = holder[path[-1]]
    holder[path[-1]] = (
        (not old) if isinstance(old, bool) else old + 1 if isinstance(old, (int, float)) else f"{old}!"
    )
    assert document_hash(from_data(data)) != document_hash(FULL)


def test_the_hash_changes_with_the_kind_and_with_a_block_more_less_or_elsewhere() -> None:
    changed = [
        attrs.evolve(FULL, kind=DocumentKind.ESTIMATE),
        attrs.evolve(FULL, blocks=FULL.blocks[:-1]),
        attrs.evolve(FULL, blocks=FULL.blocks[::-1]),
        attrs.evolve(FULL, blocks=(*FULL.blocks, Heading(text="More"))),
    ]
    assert len({document_hash(document) for document in (FULL, *changed)}) == 5


def test_a_persons_words_are_in_no_document_only_their_reference() -> None:
    (pairs,) = [block for block in plain(FULL)["blocks"] if block["is"] == "Pairs"]
    assert pairs["rows"] == [["Plate", [{"personal": "plate", "hash": "h2"}]]]


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"surplus": 1}, "surplus"),
        ({"kind": "letter"}, "letter"),
        ({"blocks": [{"is": "Drawing"}]}, "Drawing"),
        ({"blocks": [{"is": "Heading", "text": "x", "level": 1, "colour": "red"}]}, "Heading"),
        ({"blocks": [{"text": "x"}]}, ""),
        ({"blocks": 7}, ""),
    ],
    ids=[
        "surplus key",
        "unknown kind",
        "unknown block",
        "surplus key in a block",
        "block without its name",
        "no list",
    ],
)
def test_data_that_is_no_document_is_refused_in_words(change: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match="not a document of corekit"):
        from_data({**plain(FULL), **change})


@pytest.mark.parametrize("missing", ["id", "kind", "title", "shop", "issued", "currency", "total", "blocks"])
def test_a_document_needs_all_that_it_must_have(missing: str) -> None:
    data = plain(FULL)
    del data[missing]
    with pytest.raises(ValueError, match="not a document of corekit"):
        from_data(data)


@pytest.mark.parametrize(
    ("key", "wrong"), [("total", 5), ("draft", "no"), ("draft", 1), ("title", None), ("title", ["x"])]
)
def test_a_field_of_another_type_is_refused_and_never_turned_into_text(key: str, wrong: Any) -> None:
    with pytest.raises(ValueError, match="not a document of corekit"):
        from_data({**plain(FULL), key: wrong})


def test_the_canonical_text_of_a_document_reads_as_the_same_document() -> None:
    assert from_data(json.loads(canonical(to_data(FULL)))) == FULL


def test_a_document_kept_before_forms_were_counted_keeps_its_data_and_its_hash() -> None:
    old = attrs.evolve(FULL, form=1)
    assert "form" not in plain(old)
    assert from_data(plain(old)) == old
    assert document_hash(old) != document_hash(FULL)


@pytest.mark.parametrize("odd", [{"hash": {}}, {"personal": None}, {"hash": ["a"]}, {"more": 1}])
def test_a_reference_to_a_personal_text_is_two_texts_and_nothing_else(odd: dict[str, Any]) -> None:
    data = plain(FULL)
    reference = next(_references(data))
    from_data(data)
    reference.update(odd)
    with pytest.raises(InputError, match="not a document of corekit"):
        from_data(data)


def _references(data: Any) -> Iterator[dict[str, Any]]:
    if isinstance(data, dict) and set(data) == {"personal", "hash"}:
        yield data
    elif isinstance(data, dict | list):
        for item in data.values() if isinstance(data, dict) else data:
            yield from _references(item)
