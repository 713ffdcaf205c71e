"""Issued invoices as e-invoices by EN 16931: the data as XML inside the paper's own PDF."""

from __future__ import annotations

from collections.abc import Sequence

import corekit as ck

__all__ = ["corekit_exporters"]


def written(invoice: ck.InvoiceValue, paper: bytes) -> bytes:
    """The paper with the invoice's data in it."""
    from .file import with_data

    return with_data(invoice, paper)


@ck.hookimpl
def corekit_exporters() -> Sequence[ck.Exporter]:
    """The one form that this plugin writes."""
    return [ck.Exporter("einvoice", "E-invoice by EN 16931, data and paper in one PDF", ".pdf", written)]
