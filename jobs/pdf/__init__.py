"""Papers for clients as tagged PDF: the offer, and the care record of a job."""

from jobs.pdf.care_record import care_record_pdf
from jobs.pdf.offer import offer_pdf
from jobs.pdf.rendering import stored_thumbnail

__all__ = ["care_record_pdf", "offer_pdf", "stored_thumbnail"]
