"""E-invoices from plain values: what is asked for, and signs and categories."""

from __future__ import annotations

from decimal import Decimal as D

import attrs
import pytest
from corekit_einvoice import corekit_exporters, written

import corekit as ck

pytest.importorskip("facturx", reason="the extra einvoice is not installed")
from corekit_einvoice.data import category_of, invoice_xml

LINE = ck.InvoiceLine(
    text="Work", quantity=D("1.5"), unit="h", price=D("80.00"), per=D(1), net=D("120.00"), percent=D("19")
)
INVOICE = ck.InvoiceValue(
    number="2026-A0001",
    day="2026-03-05",
    currency="EUR",
    seller=ck.InvoiceParty(
        name="A Shop", address=("1 Lane", "2 Town"), tax_number="DE123456789", country="DE"
    ),
    buyer=ck.InvoiceParty(name="A Customer", country="DE"),
    lines=(LINE,),
    rates=(ck.InvoiceRate(percent=D("19"), base=D("120.00"), tax=D("22.80")),),
    net=D("120.00"),
    tax=D("22.80"),
    gross=D("142.80"),
    rounding=D("0.00"),
    paid=D("0.00"),
    due=D("142.80"),
)


def valid(invoice: ck.InvoiceValue) -> str:
    import facturx

    xml = invoice_xml(invoice)
    assert facturx.xml_check_xsd(xml, flavor="factur-x", level="en16931")
    return xml.decode()


def test_the_plugin_adds_one_form() -> None:
    (exporter,) = corekit_exporters()
    assert (exporter.name, exporter.suffix) == ("einvoice", ".pdf")


def test_what_is_missing_is_named_all_at_once() -> None:
    bare = attrs.evolve(INVOICE, seller=ck.InvoiceParty(name="A Shop"), buyer=ck.InvoiceParty(name=""))
    with pytest.raises(ValueError, match=r"BT-44.*BT-40.*BT-31"):
        invoice_xml(bare)


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"net": D("120.01")}, "BR-CO-10"),
        ({"tax": D("22.81")}, "BR-CO-14"),
        ({"gross": D("142.81")}, "BR-CO-15"),
        ({"due": D("142.81")}, "BR-CO-16"),
    ],
)
def test_sums_that_are_a_cent_off_are_refused(change: dict[str, D], rule: str) -> None:
    with pytest.raises(ValueError, match=rule):
        invoice_xml(attrs.evolve(INVOICE, **change))


def test_what_is_taken_back_has_a_quantity_below_zero_and_a_price_above() -> None:
    back = attrs.evolve(
        LINE, text="Old part returned", quantity=D(1), unit="piece", price=D("-20.00"), net=D("-20.00")
    )
    text = valid(
        attrs.evolve(
            INVOICE,
            lines=(LINE, back),
            rates=(ck.InvoiceRate(percent=D("19"), base=D("100.00"), tax=D("19.00")),),
            net=D("100.00"),
            tax=D("19.00"),
            gross=D("119.00"),
            due=D("119.00"),
        )
    )
    assert '<ram:BilledQuantity unitCode="H87">-1</ram:BilledQuantity>' in text
    assert "<ram:ChargeAmount>20.00</ram:ChargeAmount>" in text
    assert "<ram:LineTotalAmount>-20.00</ram:LineTotalAmount>" in text


def test_a_cent_of_rounding_stands_by_itself() -> None:
    text = valid(attrs.evolve(INVOICE, rounding=D("-0.01"), due=D("142.79")))
    assert "<ram:RoundingAmount>-0.01</ram:RoundingAmount>" in text


def test_the_customers_order_number_is_bt_13() -> None:
    text = valid(attrs.evolve(INVOICE, order_number="PO-4711"))
    place = text.index("<ram:BuyerOrderReferencedDocument>")
    assert "<ram:IssuerAssignedID>PO-4711</ram:IssuerAssignedID>" in text[place:]
    assert "BuyerOrderReferencedDocument" not in valid(INVOICE)


def test_signs_in_names_are_data() -> None:
    text = valid(attrs.evolve(INVOICE, buyer=ck.InvoiceParty(name='<A & B> "Ltd"', country="DE")))
    assert "&lt;A &amp; B&gt;" in text


@pytest.mark.parametrize(
    ("change", "percent", "code"),
    [
        ({}, "19", "S"),
        ({}, "0", "Z"),
        ({"outside_tax": "Small business"}, "0", "E"),
        ({"outside_tax": "Owed", "reverse_charge": True}, "0", "AE"),
    ],
)
def test_each_kind_of_tax_has_its_category(change: dict[str, object], percent: str, code: str) -> None:
    assert category_of(attrs.evolve(INVOICE, **change), D(percent)).code == code  # type: ignore[arg-type]


def test_a_local_tax_number_is_not_called_one_of_the_union() -> None:
    text = valid(attrs.evolve(INVOICE, seller=attrs.evolve(INVOICE.seller, tax_number="12/345/67890")))
    assert '<ram:ID schemeID="FC">12/345/67890</ram:ID>' in text
    assert '<ram:ID schemeID="VA">' not in text


def test_a_seller_without_a_number_of_the_union_has_an_identifier_of_its_own() -> None:
    # BR-CO-26: the seller has BT-29, BT-30 or BT-31.
    text = valid(attrs.evolve(INVOICE, seller=attrs.evolve(INVOICE.seller, tax_number="12/345/67890")))
    seller = text[text.index("<ram:SellerTradeParty>") : text.index("</ram:SellerTradeParty>")]
    assert "<ram:ID>12/345/67890</ram:ID>" in seller
    assert "<ram:ID>DE123456789</ram:ID>" not in valid(INVOICE), "BT-31 is enough"


@pytest.mark.parametrize("number", ["T-1", "QQ123", "XX-9", "DEAL"])
def test_letters_of_no_country_make_no_number_of_the_union(number: str) -> None:
    # BR-CO-09: BT-31 begins with a country of ISO 3166-1.
    text = valid(attrs.evolve(INVOICE, seller=attrs.evolve(INVOICE.seller, tax_number=number)))
    assert 'schemeID="VA"' not in text


def test_two_rates_of_one_percent_are_one_in_the_data() -> None:
    # BR-S-08: the taxable amount of a rate is that of all its lines. 120.00 + 80.00 at 19 %: 22.80 + 15.20.
    more = attrs.evolve(LINE, text="Part", quantity=D(1), unit="piece", price=D("80.00"), net=D("80.00"))
    rates = tuple(
        ck.InvoiceRate(percent=D("19"), base=D(base), tax=D(tax))
        for base, tax in (("120.00", "22.80"), ("80.00", "15.20"))
    )
    text = valid(
        attrs.evolve(
            INVOICE,
            lines=(LINE, more),
            rates=rates,
            net=D("200.00"),
            tax=D("38.00"),
            gross=D("238.00"),
            due=D("238.00"),
        )
    )
    assert text.count("<ram:BasisAmount>") == 1
    assert "<ram:BasisAmount>200.00</ram:BasisAmount>" in text
    assert "<ram:CalculatedAmount>38.00</ram:CalculatedAmount>" in text


@pytest.mark.parametrize("number", ["", "12345", "T-1"])
def test_a_customer_who_owes_the_tax_has_a_number_of_a_country(number: str) -> None:
    buyer = attrs.evolve(INVOICE.buyer, tax_number=number)
    owed = attrs.evolve(INVOICE, outside_tax="Owed", reverse_charge=True, buyer=buyer)
    with pytest.raises(ValueError, match="BR-AE-02"):
        invoice_xml(owed)


def test_what_is_no_pdf_is_refused() -> None:
    with pytest.raises(Exception, match=r"(?i)pdf|stream"):
        written(INVOICE, b"no paper")
