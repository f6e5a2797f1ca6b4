"""Papers as tagged PDF: the offer, the care record and what was found on the structure for clients,
the trace of a batch, and the day of a crew."""

from jobs.pdf.care_record import care_record_pdf
from jobs.pdf.day_sheet import build_day_sheet, day_sheet_pdf, sheet_file_name
from jobs.pdf.offer import offer_pdf
from jobs.pdf.rendering import render_paper
from jobs.pdf.response import pdf_response
from jobs.pdf.structure_report import structure_report_pdf
from jobs.pdf.trace import trace_pdf

__all__ = [
    "build_day_sheet",
    "care_record_pdf",
    "day_sheet_pdf",
    "offer_pdf",
    "pdf_response",
    "render_paper",
    "sheet_file_name",
    "structure_report_pdf",
    "trace_pdf",
]
