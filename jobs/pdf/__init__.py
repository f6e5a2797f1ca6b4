"""Papers as tagged PDF: the offer and the care record for clients, the trace of a batch."""

from jobs.pdf.care_record import care_record_pdf
from jobs.pdf.offer import offer_pdf
from jobs.pdf.trace import trace_pdf

__all__ = ["care_record_pdf", "offer_pdf", "trace_pdf"]
