"""The paper's PDF with the invoice's data embedded in it.

The file says of itself that it is PDF/A-3, and has what that asks for as far as we know: every font embedded
(the paper's own), an output intent for its colours, XMP metadata, the relation of each attachment. No
validator of PDF/A-3 was at hand, so this is not proven.
"""

from __future__ import annotations

import io
from typing import Any

import corekit as ck


def with_data(invoice: ck.InvoiceValue, paper: bytes) -> bytes:
    """The paper with the data of its invoice; what it carried before it carries still.

    Raises:
        ValueError: something that an e-invoice needs is missing, or the packages for it are.
    """
    try:
        import facturx
        import lxml  # noqa: F401  # the data are written with it
    except ImportError as error:
        raise ValueError(
            f"{error.name} is not installed; install it with pip install 'corekit[einvoice]'."
        ) from error
    from .data import invoice_xml

    xml = invoice_xml(invoice)
    facturx.xml_check_xsd(xml, flavor="factur-x", level="en16931")
    prepared, attachments = _prepared_paper(paper)
    kind = "Credit note" if invoice.is_credit_note else "Invoice"
    return bytes(
        facturx.generate_from_binary(
            prepared,
            xml,
            flavor="factur-x",
            level="en16931",
            check_xsd=False,  # just done
            pdf_metadata={
                "author": invoice.seller.name,
                "keywords": "EN 16931",
                "title": f"{kind} {invoice.number}",
                "subject": f"{kind} {invoice.number} of {invoice.day}",
            },
            lang="en",
            attachments={
                name: {"filedata": data, "description": "What this document says, as data"}
                for name, data in attachments.items()
            },
        )
    )


def _prepared_paper(paper: bytes) -> tuple[bytes, dict[str, bytes]]:
    """The paper with an output intent, and what is attached to it: the library puts its own list in place of
    what is there.
    """
    from PIL import ImageCms
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import ArrayObject, DecodedStreamObject, DictionaryObject, NameObject, TextStringObject

    reader = PdfReader(io.BytesIO(paper))
    attachments = {name: parts[0] for name, parts in reader.attachments.items()}
    writer = PdfWriter(clone_from=reader)
    profile = DecodedStreamObject()
    profile.set_data(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[NameObject("/N")] = _number(3)
    intent = DictionaryObject(
        {
            NameObject("/Type"): NameObject("/OutputIntent"),
            NameObject("/S"): NameObject("/GTS_PDFA1"),
            NameObject("/OutputConditionIdentifier"): TextStringObject("sRGB"),
            NameObject("/Info"): TextStringObject("sRGB IEC61966-2.1"),
            NameObject("/DestOutputProfile"): writer._add_object(profile.flate_encode()),
        }
    )
    root: Any = writer.root_object
    root[NameObject("/OutputIntents")] = ArrayObject([writer._add_object(intent)])
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue(), attachments


def _number(value: int) -> Any:
    from pypdf.generic import NumberObject

    return NumberObject(value)
