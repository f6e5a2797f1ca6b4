"""Fills in the page “Log a job” the way a browser sends it."""

import uuid
from datetime import date
from io import BytesIO
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from clients.models import Deck
from jobs.models import Product

URL = "/jobs/log/"
DAY = date(2026, 6, 11)


def row(product: Product | int | str, number: int = 0, **values: Any) -> dict[str, Any]:
    key = product.pk if isinstance(product, Product) else product
    fields = {
        "product": key,
        "batch": "TW-0001",
        "colour": "Driftwood",
        "surfaces": ["boards"],
        "coats": 2,
        "litres": "4",
    }
    return {f"coats-{number}-{name}": value for name, value in {**fields, **values}.items()}


def filled(deck: Deck | None, *rows: dict[str, Any], **values: Any) -> dict[str, Any]:
    """All fields of the page for a recoat on a fine day; keywords replace or add some."""
    page = {
        "form_key": str(uuid.uuid4()),
        "deck": deck.pk if deck else "",
        "kind": "recoat",
        "finished_on": "2026-06-10",
        "crew": "Tern crew",
        "overall": "2",
        "reason": "due",
        "air_c": "21",
        "humidity_percent": "55",
        "sky": "sun",
        "notes": "",
        "moment": "finished",
        "coats-TOTAL_FORMS": len(rows),
        "coats-INITIAL_FORMS": 0,
    }
    for each in rows:
        page |= each
    return {**page, **values}


def new_client(**values: Any) -> dict[str, Any]:
    fields = {
        "name": "Ottilie Saltonby",
        "phone": "902-555-0147",
        "email": "ottilie@example.org",
        "street": "9 Plover Street",
        "town": "Lunenburg",
        "label": "Sun deck",
        "species": "red_cedar",
        "area_m2": "24",
    }
    return {f"new-{name}": value for name, value in {**fields, **values}.items()}


def log(client: Client, *args: Any, **kwargs: Any) -> Any:
    return client.post(URL, filled(*args, **kwargs))


def errors(response: Any) -> dict[str, list[str]]:
    """What the page complains about, by field."""
    page = response.context["page"]
    found = {name: list(texts) for name, texts in page.job.errors.items()}
    for number, form in enumerate(page.rows):
        found |= {f"coats-{number}-{name}": list(texts) for name, texts in form.errors.items()}
    if page.new:
        found |= {f"new-{name}": list(texts) for name, texts in page.new.errors.items()}
    return found


def picture(
    size: tuple[int, int] = (400, 300),
    *,
    kind: str = "JPEG",
    orientation: int = 1,
    name: str = "deck.jpg",
) -> SimpleUploadedFile:
    """A photograph as a phone makes it: with the place, the camera and the way it was held."""
    image = Image.new("RGB", size, "sienna")
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Tern phone"
    exif[0x8825] = {1: "N", 2: (44.0, 22.0, 48.0), 3: "W", 4: (64.0, 18.0, 36.0)}
    out = BytesIO()
    image.save(out, kind, **({} if kind == "TIFF" else {"exif": exif}))
    return SimpleUploadedFile(name, out.getvalue(), content_type="image/jpeg")
