"""A can before the camera. Chromium on Linux reads no bar codes itself: a stand-in of that one
interface (W3C, Barcode Detection) sees what the test shows it; the camera is Chromium's own."""

from collections.abc import Callable

from django.contrib.staticfiles.storage import staticfiles_storage
from playwright.sync_api import Page, expect

from clients.models import Deck
from jobs.models import CanCode, CoatApplied, Job, Product
from tests.browser.conftest import violations
from tests.browser.test_without_signal import cut, deck, kept, mend, wait_until_sent
from tests.factories import ProductFactory

__all__ = ["deck"]
Open = Callable[..., Page]
FNC1 = "\x1d"
STAND_IN = """
  window.seen = [];
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ["ean_13", "qr_code", "data_matrix"]; }
    constructor({ formats }) { this.formats = formats; }
    async detect(video) {
      if (!(video instanceof HTMLVideoElement)) throw new TypeError("no picture");
      return window.seen.filter((code) => this.formats.includes(code.format));
    }
  };
"""
# What a code holds, how it is drawn, the GTIN and the batch. The numbers are the examples of the
# GS1 General Specifications (element strings, UPC-E) and of the GS1 Digital Link standard
# (ISO/IEC 18975), from memory; the host is ours.
CODES = [
    ("6291041500213", "ean_13", "06291041500213", ""),
    ("614141123452", "upc_a", "00614141123452", ""),
    ("40123455", "ean_8", "00000040123455", ""),
    ("01234558", "upc_e", "00012345000058", ""),
    ("01278907", "upc_e", "00012000007897", ""),
    ("80614141123458", "itf", "80614141123458", ""),
    ("010950600013435210ABC123", "data_matrix", "09506000134352", "ABC123"),
    (
        f"{FNC1}010950600013435217201225{FNC1}10ABC-1{FNC1}2112345",
        "data_matrix",
        *("09506000134352", "ABC-1"),
    ),
    (f"]d210ABC123{FNC1}0109506000134352", "data_matrix", "09506000134352", "ABC123"),
    (f"01095060001343523103000250{FNC1}240X{FNC1}10TW/31", "code_128", "09506000134352", "TW/31"),
    (
        "https://example.com/01/09506000134376/10/ABC/21/123456?17=180426",
        "qr_code",
        *("09506000134376", "ABC"),
    ),
    (
        "https://example.com/a/b/01/9506000134352/22/2A/10/AB%2F12",
        "qr_code",
        *("09506000134352", "AB/12"),
    ),
    ("HTTPS://EXAMPLE.COM/01/09506000134352", "qr_code", "09506000134352", ""),
]
NO_PRODUCT = [
    "6291041500214",
    "10ABC123",
    "0109506000134353" + "10ABC",
    "01095060001343",
    "https://example.com/01/09506000134353/10/ABC",
    "https://example.com/%E0%A4%A/01/09506000134352",
    "https://example.com/10/ABC",
    "Shut the gate.",
    "",
]


def show(page: Page, code: str, drawn: str = "qr_code") -> None:
    page.evaluate("(code) => { window.seen = [code]; }", {"rawValue": code, "format": drawn})


def test_each_kind_of_code_says_product_and_batch(open_as: Open) -> None:
    page = open_as("crew", "/jobs/log/?new=1")
    read = """async ([address, codes]) => {
      const { readCan } = await import(address);
      return codes.map(([code, drawn]) => readCan(code, drawn) ?? null);
    }"""
    address = staticfiles_storage.url("restorer/kept/cans.js")

    said = page.evaluate(read, [address, [code[:2] for code in CODES]])
    nothing = page.evaluate(read, [address, [[code, "qr_code"] for code in NO_PRODUCT]])

    assert said == [{"gtin": gtin, "batch": batch} for _, _, gtin, batch in CODES]
    assert nothing == [None] * len(NO_PRODUCT)


def test_a_can_chooses_product_and_batch_without_a_signal_and_a_new_code_is_remembered(
    open_as: Open, deck: Deck
) -> None:
    stain = ProductFactory(name="Boreal Stain")
    CanCode.objects.create(product=stain, gtin="09506000134352")
    address = f"/jobs/log/?deck={deck.pk}"
    page = open_as("crew", address, may_complain=True)
    kept(page)
    scans = page.get_by_role("button", name="Scan the can")
    expect(scans).to_be_hidden()  # this browser reads no codes
    page.add_init_script(STAND_IN)
    page.goto(address)
    kept(page)
    cut(page)

    scans.click()
    window = page.get_by_role("dialog", name="Scan the can")
    expect(window.get_by_role("button", name="Cancel")).to_be_focused()
    assert violations(page) == []
    show(page, "Shut the gate.")
    expect(window).to_contain_text("This code names no product.")
    show(page, f"010950600013435210BS-77{FNC1}", "data_matrix")
    expect(window).to_be_hidden()
    row = page.get_by_role("group", name="Product 1")
    expect(row.get_by_label("Product", exact=True)).to_have_value(str(stain.pk))
    expect(row.get_by_role("combobox", name="Batch")).to_have_value("BS-77")
    expect(row.get_by_label("Used, L")).to_be_focused()
    expect(row.get_by_role("status")).to_contain_text("batch BS-77.")

    page.evaluate("window.seen = []")
    page.get_by_role("button", name="Another product").click()
    second = page.get_by_role("group", name="Product new")
    second.get_by_role("button", name="Scan the can").click()
    show(page, "6291041500213", "ean_13")
    expect(second.get_by_role("status")).to_contain_text("This code is new.")
    expect(second.get_by_label("New code on the can")).to_have_value("06291041500213")
    oil = Product.objects.get(name="Tidewood Oil")
    second.get_by_label("Product", exact=True).select_option(str(oil.pk))
    second.get_by_role("combobox", name="Batch").fill("TW-31")
    page.get_by_role("button", name="Log this job").click()
    page.get_by_text("Kept on this phone and not sent yet.").wait_for()
    mend(page)

    wait_until_sent(page)
    coats = CoatApplied.objects.filter(job=Job.objects.latest("id")).order_by("position")
    assert [(coat.product.name, coat.batch.code) for coat in coats] == [
        ("Boreal Stain", "BS-77"),
        ("Tidewood Oil", "TW-31"),
    ]
    assert CanCode.objects.get(gtin="06291041500213").product.name == "Tidewood Oil"


def test_a_camera_that_is_refused_is_said_and_everything_can_be_typed(
    open_as: Open, deck: Deck
) -> None:
    page = open_as("crew", "/", may_complain=True)
    refused = "navigator.mediaDevices.getUserMedia = async () => { throw new Error('refused'); };"
    page.add_init_script(STAND_IN + refused)
    page.goto(f"/jobs/log/?deck={deck.pk}")

    page.get_by_role("button", name="Scan the can").click()

    expect(page.get_by_text("The camera cannot be used here.")).to_be_visible()
    expect(page.get_by_role("button", name="Scan the can")).to_be_focused()
