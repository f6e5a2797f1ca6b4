"""A paper as the answer to a request."""

from django.http import HttpResponse


def pdf_response(content: bytes, name: str) -> HttpResponse:
    """Shown by the browser itself; saved, it has this name."""
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)
