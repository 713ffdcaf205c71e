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


def test_what_is_no_pdf_is_refused() -> None:
    with pytest.raises(Exception, match=r"(?i)pdf|stream"):
        written(INVOICE, b"no paper")
