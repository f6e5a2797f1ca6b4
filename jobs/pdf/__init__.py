"""Papers for clients as tagged PDF."""

from jobs.pdf.offer import offer_pdf

__all__ = ["offer_pdf"]
