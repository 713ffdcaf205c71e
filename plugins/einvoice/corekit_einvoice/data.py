"""The data of an invoice as EN 16931 has them, in the syntax UN/CEFACT Cross Industry Invoice D22B.

BT and BG are the business terms and groups of EN 16931-1, BR its rules; from memory, with the schema files of
the library as the judge of the syntax. Nothing is worked out anew: what the books say is written, and refused
where it does not add up.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import attrs
from lxml import etree

import corekit as ck

GUIDELINE = "urn:cen.eu:en16931:2017"  # BT-24: no more than the European standard
INVOICE, CREDIT_NOTE = "380", "381"  # BT-3, UNTDID 1001
#: What is counted → its code by UN/ECE recommendations 20 and 21; anything else is one piece of what it says.
UNITS = {
    "h": "HUR",
    "min": "MIN",
    "km": "KMT",
    "mi": "SMI",
    "L": "LTR",
    "mL": "MLT",
    "kg": "KGM",
    "g": "GRM",
    "m": "MTR",
    "piece": "H87",
    "flat": "LS",
}
ONE = "C62"
_NAMESPACES = {
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
}


@attrs.frozen(kw_only=True)
class Category:
    """A category of tax (BT-118, UNTDID 5305) with the reason that no tax is charged, and its code."""

    code: str
    reason: str = ""
    reason_code: str = ""


def invoice_xml(invoice: ck.InvoiceValue) -> bytes:
    """The data of an invoice or credit note.

    Raises:
        ValueError: something that EN 16931 asks for is missing, or the sums do not add up; all of it at once.
    """
    missing = list(_missing_fields(invoice))
    if missing:
        raise ValueError("An e-invoice needs " + "; ".join(missing) + ".")
    return bytes(
        etree.tostring(_Writer(invoice).document(), xml_declaration=True, encoding="UTF-8", pretty_print=True)
    )


def _missing_fields(invoice: ck.InvoiceValue) -> Iterator[str]:
    if not invoice.buyer.name:
        yield "the customer's name (BT-44): write it under customer before the invoice is issued"
    if not invoice.seller.country:
        yield 'the shop\'s country (BT-40): write jurisdiction = "…" in shop.toml'
    if not invoice.seller.tax_number:
        yield 'the shop\'s tax number (BT-31 or BT-32): write tax_id = "…" in shop.toml'
    if invoice.reverse_charge and not _is_of_country(invoice.buyer.tax_number):
        yield (
            "the customer's tax number with the letters of its country before it (BT-48, BR-AE-02), because"
            " the customer owes the tax"
        )
    if not invoice.day:
        yield "the day of issue (BT-2), which an older program did not keep"
    if sum(line.net for line in invoice.lines) != invoice.net:
        yield f"lines that add up to the net of {invoice.net} (BR-CO-10)"
    if sum(rate.tax for rate in invoice.rates) != invoice.tax:
        yield f"taxes that add up to {invoice.tax} (BR-CO-14)"
    if invoice.net + invoice.tax != invoice.gross:
        yield f"net and tax that add up to {invoice.gross} (BR-CO-15)"
    if invoice.gross + invoice.rounding - invoice.paid != invoice.due:
        yield f"an amount due of {invoice.due} that follows from what was paid (BR-CO-16)"


def category_of(invoice: ck.InvoiceValue, percent: Decimal) -> Category:
    """The category of tax of what is charged at this rate."""
    if invoice.reverse_charge:
        return Category(code="AE", reason=invoice.outside_tax or "Reverse charge", reason_code="VATEX-EU-AE")
    if invoice.outside_tax:
        return Category(code="E", reason=invoice.outside_tax)
    return Category(code="S" if percent else "Z")


class _Writer:
    """Writes one invoice; of a credit note every quantity and amount with the other sign (BT-3 says so)."""

    def __init__(self, invoice: ck.InvoiceValue) -> None:
        self.invoice = invoice
        self.sign = -1 if invoice.is_credit_note else 1

    def document(self) -> Any:
        invoice = self.invoice
        root = etree.Element(_name("rsm:CrossIndustryInvoice"), nsmap=_NAMESPACES)
        context = _add(root, "rsm:ExchangedDocumentContext")
        _add(_add(context, "ram:GuidelineSpecifiedDocumentContextParameter"), "ram:ID", GUIDELINE)
        head = _add(root, "rsm:ExchangedDocument")
        _add(head, "ram:ID", invoice.number)
        _add(head, "ram:TypeCode", CREDIT_NOTE if invoice.is_credit_note else INVOICE)
        _date(_add(head, "ram:IssueDateTime"), invoice.day)
        if invoice.corrects:
            _add(_add(head, "ram:IncludedNote"), "ram:Content", f"Replaces invoice {invoice.corrects}.")
        trade = _add(root, "rsm:SupplyChainTradeTransaction")
        for n, line in enumerate(invoice.lines, 1):
            self._line(_add(trade, "ram:IncludedSupplyChainTradeLineItem"), n, line)
        agreement = _add(trade, "ram:ApplicableHeaderTradeAgreement")
        if invoice.reference:
            _add(agreement, "ram:BuyerReference", invoice.reference)
        _party(_add(agreement, "ram:SellerTradeParty"), invoice.seller, is_seller=True)
        _party(_add(agreement, "ram:BuyerTradeParty"), invoice.buyer)
        if invoice.order_number:  # BT-13
            _add(
                _add(agreement, "ram:BuyerOrderReferencedDocument"),
                "ram:IssuerAssignedID",
                invoice.order_number,
            )
        delivery = _add(trade, "ram:ApplicableHeaderTradeDelivery")
        if invoice.supplied_on:
            event = _add(delivery, "ram:ActualDeliverySupplyChainEvent")
            _date(_add(event, "ram:OccurrenceDateTime"), invoice.supplied_on)
        self._settlement(_add(trade, "ram:ApplicableHeaderTradeSettlement"))
        return root

    def _line(self, item: Any, n: int, line: ck.InvoiceLine) -> None:
        about = _add(item, "ram:AssociatedDocumentLineDocument")
        _add(about, "ram:LineID", str(n))
        if line.note:
            _add(_add(about, "ram:IncludedNote"), "ram:Content", line.note)
        product = _add(item, "ram:SpecifiedTradeProduct")
        if line.number:
            _add(product, "ram:SellerAssignedID", line.number)
        _add(product, "ram:Name", line.text)
        unit = UNITS.get(line.unit, ONE)
        # BR-27: a price is never below zero, so what is taken back has a quantity below it.
        turned = -1 if line.price < 0 else 1
        price = _add(_add(item, "ram:SpecifiedLineTradeAgreement"), "ram:NetPriceProductTradePrice")
        _add(price, "ram:ChargeAmount", f"{line.price * turned:f}")
        _add(price, "ram:BasisQuantity", f"{line.per:f}", unitCode=unit)
        _add(
            _add(item, "ram:SpecifiedLineTradeDelivery"),
            "ram:BilledQuantity",
            f"{line.quantity * turned * self.sign:f}",
            unitCode=unit,
        )
        settlement = _add(item, "ram:SpecifiedLineTradeSettlement")
        tax = _add(settlement, "ram:ApplicableTradeTax")
        _add(tax, "ram:TypeCode", "VAT")
        _add(tax, "ram:CategoryCode", category_of(self.invoice, line.percent).code)
        _add(tax, "ram:RateApplicablePercent", f"{line.percent:f}")
        sums = _add(settlement, "ram:SpecifiedTradeSettlementLineMonetarySummation")
        _add(sums, "ram:LineTotalAmount", self._amount(line.net))

    def _settlement(self, settlement: Any) -> None:
        invoice = self.invoice
        _add(settlement, "ram:InvoiceCurrencyCode", invoice.currency)
        for rate in _by_percent(invoice):
            category = category_of(invoice, rate.percent)
            tax = _add(settlement, "ram:ApplicableTradeTax")
            _add(tax, "ram:CalculatedAmount", self._amount(rate.tax))
            _add(tax, "ram:TypeCode", "VAT")
            if category.reason:
                _add(tax, "ram:ExemptionReason", category.reason)
            _add(tax, "ram:BasisAmount", self._amount(rate.base))
            _add(tax, "ram:CategoryCode", category.code)
            if category.reason_code:
                _add(tax, "ram:ExemptionReasonCode", category.reason_code)
            _add(tax, "ram:RateApplicablePercent", f"{rate.percent:f}")
        if not invoice.is_credit_note:
            terms = _add(settlement, "ram:SpecifiedTradePaymentTerms")  # BR-CO-25
            _add(terms, "ram:Description", invoice.pays_by or "Payable at once")
            if invoice.due_on:
                _date(_add(terms, "ram:DueDateDateTime"), invoice.due_on)
        sums = _add(settlement, "ram:SpecifiedTradeSettlementHeaderMonetarySummation")
        _add(sums, "ram:LineTotalAmount", self._amount(sum((line.net for line in invoice.lines), Decimal(0))))
        _add(sums, "ram:TaxBasisTotalAmount", self._amount(invoice.net))
        _add(sums, "ram:TaxTotalAmount", self._amount(invoice.tax), currencyID=invoice.currency)
        if invoice.rounding:
            _add(sums, "ram:RoundingAmount", self._amount(invoice.rounding))
        _add(sums, "ram:GrandTotalAmount", self._amount(invoice.gross))
        if invoice.paid:
            _add(sums, "ram:TotalPrepaidAmount", self._amount(invoice.paid))
        _add(sums, "ram:DuePayableAmount", self._amount(invoice.due))
        if invoice.credits:
            answered = _add(settlement, "ram:InvoiceReferencedDocument")
            _add(answered, "ram:IssuerAssignedID", invoice.credits)

    def _amount(self, amount: Decimal) -> str:
        turned = amount * self.sign
        return f"{turned if turned else abs(turned):f}"


def _by_percent(invoice: ck.InvoiceValue) -> list[ck.InvoiceRate]:
    """The rates of tax, each percent once whatever the shop calls it (BR-S-08, BR-Z-01, BR-E-01)."""
    found: dict[Decimal, ck.InvoiceRate] = {}
    for rate in invoice.rates or (ck.InvoiceRate(percent=Decimal(0), base=invoice.net, tax=Decimal(0)),):
        before = found.get(rate.percent)
        found[rate.percent] = (
            rate
            if before is None
            else attrs.evolve(before, base=before.base + rate.base, tax=before.tax + rate.tax)
        )
    return list(found.values())


def _is_of_country(tax_number: str) -> bool:
    """True for a number that begins with the letters of a country (BR-CO-09), as those of the Union do."""
    bare = tax_number.strip()
    return f" {bare[:2]} " in _COUNTRIES and any(sign.isdigit() for sign in bare[2:])


#: ISO 3166-1, with the letters that Greece and Northern Ireland write before their tax numbers.
_COUNTRIES = (
    " AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT"
    " BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH"
    " EL ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR"
    " HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR"
    " LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG"
    " NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE"
    " SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA"
    " UG UM US UY UZ VA VC VE VG VI VN VU WF WS XI YE YT ZA ZM ZW"
    " "
)


def _party(party: Any, said: ck.InvoiceParty, *, is_seller: bool = False) -> None:
    if is_seller and said.tax_number and not _is_of_country(said.tax_number):
        _add(party, "ram:ID", said.tax_number)  # BT-29, where there is no BT-31 (BR-CO-26)
    _add(party, "ram:Name", said.name)
    address = _add(party, "ram:PostalTradeAddress")
    lines = [*said.address[:2], ", ".join(said.address[2:])]
    for tag, line in zip(("ram:LineOne", "ram:LineTwo", "ram:LineThree"), lines, strict=False):
        if line:
            _add(address, tag, line)
    _add(address, "ram:CountryID", said.country)
    if said.tax_number:
        # BT-31 and BT-48 begin with the country; another number is the one of the local tax office (BT-32).
        scheme = "VA" if _is_of_country(said.tax_number) else "FC"
        _add(_add(party, "ram:SpecifiedTaxRegistration"), "ram:ID", said.tax_number, schemeID=scheme)


def _date(parent: Any, day: str) -> None:
    _add(parent, "udt:DateTimeString", day.replace("-", ""), format="102")  # CCYYMMDD


def _name(tag: str) -> str:
    prefix, _, name = tag.partition(":")
    return f"{{{_NAMESPACES[prefix]}}}{name}"


def _add(parent: Any, tag: str, text: str = "", **attributes: str) -> Any:
    made = etree.SubElement(parent, _name(tag), attributes)
    if text:
        made.text = text
    return made
