"""Any list as people keep it, by the command and its best guesses."""

import json
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from openpyxl import Workbook

from clients.models import STREET_NOT_KNOWN, Business, Client, ContactPoint, Deck, Place, Property
from jobs.models import CoatApplied, Job
from tests.factories import DeckFactory, PropertyFactory
from tests.jobs import old_lists
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


def guess(path: Path, **options: object) -> list[dict[str, Any]]:
    out = StringIO()
    call_command(
        "import_book",
        str(path),
        guess=True,
        format="json",
        stdout=out,
        stderr=StringIO(),
        **options,
    )
    return json.loads(out.getvalue())


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (old_lists.write_client_sheet, "clients.xlsx"),
        (old_lists.write_invoice_lines, "invoices.csv"),
        (old_lists.write_hand_list, "by hand.xlsx"),
    ],
)
def test_nine_of_ten_rows_of_an_honest_list_are_ready_by_guessing(
    tmp_path: Path, write, name: str
) -> None:
    count = write(tmp_path / name)
    found = guess(tmp_path / name)

    assert found[0]["rows"] == count
    assert found[0]["ready"] >= 0.9 * count


def test_a_hamlet_lies_by_the_town_of_most_rows_where_nobody_said_where_the_business_is(
    tmp_path: Path,
) -> None:
    Business.objects.update(town="", region="")
    Place.objects.create(
        geoname_id=99,
        name="Toronto",
        ascii_name="Toronto",
        region="Ontario",
        country="CA",
        latitude=43.7,
        longitude=-79.4,
        time_zone="America/Toronto",
        population=2_731_571,
    )
    old_lists.write_client_sheet(tmp_path / "clients.xlsx")

    guess(tmp_path / "clients.xlsx")

    hamlet = Property.objects.filter(town="Blue Rocks").first()
    assert hamlet is not None
    lunenburg = Place.objects.get(name="Lunenburg")
    assert float(hamlet.latitude) == pytest.approx(float(lunenburg.latitude))


DECK_BOOK = """\
Marsh & Sons deck book,,,,,,
Who,Tel,Where,Deck,How big,Job,Done
"Pemberly, Orla",(902) 555-0161,"12 Sandpiper Lane, Lunenburg",cedar back deck,14x20,\
stripped & oiled 2 coats walnut,May 2022
,,,,,wash + 1 coat,Sept 2023
Quill Ottermarsh,902-555-0164,"7 Plover Ct, Lunenburg",ipe,120,strip sand 2 cts solid stain,2023
Una Marrow,,"31 Curlew Row, Lunenburg",front porch,?,recoat w/ semi-transparent,2024
Gus Petrel,,"19 Heron Way, Lunenburg",Larch,9m x 4m,wash only,2025
"""


def test_wood_finish_and_coats_are_read_where_only_the_names_of_deck_and_work_tell_them(
    tmp_path: Path,
) -> None:
    path = tmp_path / "deck book.csv"
    path.write_text(DECK_BOOK)

    found = guess(path)

    assert (found[0]["rows"], found[0]["decks"], found[0]["jobs"]) == (5, 4, 5)
    asked = {(each["doubt"], each["about"], each["guess"]) for each in found[0]["doubts"]}
    assert ("timber", "cedar", "Western red cedar") in asked  # it may be white cedar
    assert ("classes", "Solid stain", "Solid stain or paint (film)") in asked
    assert dict(Deck.objects.values_list("label", "species")) == {
        "Back deck": "red_cedar",
        "Ipe deck": "ipe",
        "front porch": "unknown",
        "Larch deck": "larch",
    }
    coats = CoatApplied.objects.order_by("job__finished_on")
    columns = ("job__deck__label", "product__name", "product__finish_class", "colour", "coats")
    assert list(coats.values_list(*columns)) == [
        ("Back deck", "Deck oil", "penetrating_oil", "Walnut", 2),
        ("Back deck", None, None, "", 1),
        ("Ipe deck", "Solid stain", "solid_film", "", 2),
        ("front porch", "Semi-transparent stain", "semitransparent", "", None),
    ]


# As a small office keeps it: the product among the notes, several years in one cell.
CUSTOMERS = """Deck customers 2021-2025,,,,,,
Surname,First,Cell,Address,Deck,Last oiled,What we used / notes
Hartwell,Bea,902-555-0131,"14 Spruce Rd, Chester","16x20 cedar",June 2023,"Tidewood Clear 2 coats, gate code on file"
Greaves,Tom & Sue,(902) 555 0132,3 Shore Dr Mahone Bay NS B0J 2E0,back 12 x 14 PT,2024-05-11,Sealskin Tint walnut 1 ct
Windrush,Thea,902.555.0133 (work 902-555-0134),22 Pine Hill Lunenburg,approx 300 sf ipe + stairs,fall '22,Tidewood Deck Oil - 3.5 gal
Marrow,Una,,RR#2 Bridgewater,,"2019, 2021, 2023",strip 2019 then recoats
Saltonby,H,902-555-0135,15 Shore Dr. Mahone Bay,front verandah 8x30 spruce,last yr,Harbour Solid white (peeling)
Quill,Jan,902-555-0136,"7 Cove Ln, Liverpool",24m2,15-Sep-2025,2x Tidewood Deck Oil driftwood $780
Ferris,A,902-555-0137,9 Hill St Lunenburg,200,?,never did it - quote only
"""  # noqa: E501


def test_what_was_used_is_told_from_what_was_noted_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text(CUSTOMERS)

    found = guess(path)

    tells = {each["column"]: each["tells"] for each in found[0]["columns"]}
    assert (tells["Last oiled"], tells["What we used / notes"]) == ("done", "product")
    assert (found[0]["ready"], found[0]["to_complete"]) == (6, 1)  # “last yr” is asked about
    columns = ("deck__label", "kind", "finished_on__year", "coats_applied__product__name", "amount")
    assert sorted(Job.objects.values_list(*columns), key=str) == [
        ("Back deck", "recoat", 2024, "Sealskin Tint", None),
        ("Cedar deck", "recoat", 2023, "Tidewood Clear", None),
        ("Deck", "recoat", 2021, None, None),
        ("Deck", "recoat", 2023, None, None),
        ("Deck", "recoat", 2025, "Tidewood Deck Oil", 780),
        ("Deck", "strip", 2019, None, None),
        ("Ipe deck", "recoat", 2022, "Tidewood Deck Oil", None),
    ]
    assert "gate code on file" in Job.objects.get(deck__label="Cedar deck").notes
    assert "quote only" in Deck.objects.get(site__street="9 Hill St").notes
    phones = ContactPoint.objects.filter(client__name="Thea Windrush").order_by("normalized")
    assert [each.kind for each in phones] == ["mobile", "phone"]


# As a program of old prints it out: capitals, short heads, and what must not be done in a column
# that is not read.
PRINTOUT = """CUST,ADDR1,CITY,PH,SQFT,WOOD,PROD,DT,$,NEXT,STATUS
"HATCHARD, LENORE & PAUL",88 KINGFISHER DR,LUNENBURG,9025550141,312,CEDAR,TW OIL,05/14/24,1150,05/26,ACTIVE
PELHAM INN LTD,1 WHARF ST,MAHONE BAY,9025550142,1450,PT,SOLID GREY,09/30/23,4800,,ACTIVE
"O'HARE, R.",17 HERON CRT UNIT 4,CHESTER,9025550143,140,,CLR SEALER,07/01/21,420,,MOVED
"O'HARE, R.",17 HERON CRT UNIT 4,CHESTER,9025550143,140,,,,,,DO NOT CALL
TOTAL,,,,,,,,6370,,
"""  # noqa: E501


def test_capitals_are_calmed_and_whom_not_to_call_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "printout.csv"
    path.write_text(PRINTOUT)

    found = guess(path)
    guess(path)  # read again it adds nothing

    assert (found[0]["rows"], found[0]["ready"], found[0]["jobs"]) == (4, 4, 3)
    assert dict(Client.objects.values_list("name", "notes")) == {
        "Lenore & Paul Hatchard": "",
        "Pelham Inn Ltd": "",
        "R. O'Hare": "STATUS: MOVED\nSTATUS: DO NOT CALL",
    }
    streets = set(Property.objects.values_list("street", flat=True))
    assert streets == {"88 Kingfisher Dr", "1 Wharf St", "17 Heron Crt Unit 4"}


def test_names_are_found_under_a_head_that_says_nothing(tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(
        "Whom,Place,Ring,When\n"
        "Della Windrush,Lunenburg,902-555-0143,2024-05-11\nUna Marrow,Chester,902-555-0144,2023\n"
    )

    guess(path)

    assert set(Client.objects.values_list("name", flat=True)) == {"Della Windrush", "Una Marrow"}


# As accounts are printed: the client above their lines, totals below, no address.
SALES = """Driftline Deck Care,,,,,,
Sales by customer,,,,,,
,,,,,,
Date,Transaction type,Num,Memo,Qty,Sales price,Amount
Beatrix Hollowell,,,,,,
06/14/2023,Invoice,1041,"Strip, brighten & seal deck 320 sf - Tidewood Deck Oil Driftwood 2 coats",1,"1,840.00","1,840.00"
06/14/2023,Invoice,1041,Travel,1,45.00,45.00
07/02/2025,Invoice,1188,Clean and recoat - Tidewood Deck Oil (batch TW-0412),1,760.00,760.00
Total for Beatrix Hollowell,,,,,,"2,645.00"
Curlew Point Cottages,,,,,,
05/20/2022,Invoice,0977,Power wash 4 cottages,4,150.00,600.00
10/05/2024,Credit memo,1121,discount,1,-80.00,-80.00
Mabel Thornquist,,,,,,
08/11/2024,Estimate,E-55,Strip and seal 14x18,1,"1,600.00","1,600.00"
TOTAL,,,,,,"5,245.00"
"""  # noqa: E501


def test_work_of_an_account_goes_to_the_property_that_the_book_has(tmp_path: Path) -> None:
    home = PropertyFactory(client__name="Beatrix Hollowell", street="9 Shore Road", town="Chester")
    deck = DeckFactory(site=home, label="Sun deck", area_m2=None)
    path = tmp_path / "sales.csv"
    path.write_text(SALES)

    found = guess(path)

    assert (found[0]["rows"], found[0]["ready"], found[0]["jobs"]) == (6, 6, 3)
    assert [(job.kind, job.amount) for job in deck.jobs.order_by("finished_on")] == [
        ("strip", 1885),
        ("recoat", 760),
    ]
    deck.refresh_from_db()
    assert deck.area_m2 == Decimal("29.73")  # 320 square feet
    coat = CoatApplied.objects.get(job__finished_on__year=2025)
    assert coat.batch is not None
    assert (coat.product.name, coat.batch.code) == ("Tidewood Deck Oil", "TW-0412")
    assumed = Property.objects.get(client__name="Curlew Point Cottages")
    assert (assumed.street, assumed.town) == (STREET_NOT_KNOWN, "Lunenburg")
    assert not Job.objects.filter(deck__site__client__name="Mabel Thornquist").exists()


# As an address book writes its people out.
ADDRESS_BOOK = """Name Prefix,First Name,Middle Name,Last Name,Organization Name,Notes,Labels,E-mail 1 - Label,E-mail 1 - Value,Phone 1 - Label,Phone 1 - Value,Phone 2 - Label,Phone 2 - Value,Address 1 - Formatted,Address 1 - Street,Address 1 - City,Address 1 - Region
,Orla,,Pemberly,,"Deck stripped & oiled June 2022. recoated Aug 2024. 3 steps",Deck people,* Home,orla@example.org,Mobile,902-555-0151,Home,902-555-0152,"12 Sandpiper Lane
Lunenburg NS",12 Sandpiper Lane,Lunenburg,NS
,,,,Harbour House B&B,cedar deck 600 sq ft. Solid stain 2021; touch up 2023,Deck people,Work,stay@example.com,Work,902-555-0154 ::: 902-555-0155,,,"1 Wharf Street
Chester NS",1 Wharf Street,Chester,NS
"""  # noqa: E501


def test_an_address_book_comes_in_with_what_its_notes_tell(tmp_path: Path) -> None:
    path = tmp_path / "contacts.csv"
    path.write_text(ADDRESS_BOOK)

    found = guess(path)

    assert (found[0]["rows"], found[0]["ready"], found[0]["jobs"]) == (2, 2, 4)
    orla = ContactPoint.objects.filter(client__name="Orla Pemberly").order_by("normalized")
    assert [(each.kind, each.value) for each in orla] == [
        ("mobile", "902-555-0151"),
        ("phone", "902-555-0152"),
        ("email", "orla@example.org"),
    ]
    deck = Deck.objects.get(site__client__name="Harbour House B&B")
    assert (deck.label, deck.area_m2, deck.species) == ("Deck", Decimal("55.74"), "red_cedar")
    assert ContactPoint.objects.filter(client__name="Harbour House B&B").count() == 3


def test_rows_below_the_name_of_a_month_are_of_that_month(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text(
        "Jobs 2025,,,\nDay,Client,Town,Work\nJune,,,\nMon 2,Una Marrow,Chester,strip\n"
        "July,,,\n8,Della Windrush,Lunenburg,recoat\n"
    )

    guess(path)

    days = {job.deck.site.client.name: job.span.edtf() for job in Job.objects.all()}
    assert days == {"Una Marrow": "2025-06", "Della Windrush": "2025-07"}


def test_a_sheet_a_year_gives_its_days_their_year(tmp_path: Path) -> None:
    book = Workbook()
    book.remove(book.active)
    years = {
        "2023": [("Una Marrow", "May 12", "oil x2"), ("Orla Pemberly", "June 3", "strip & seal")],
        "Jobs 2024": [("Una Marrow", "Jul 2", "wash"), ("Thea Windrush", "Aug 14-15", "strip")],
        "2025 ": [("Orla Pemberly", "early June", "recoat"), ("Jan Quill", "", "")],
    }
    for name, rows in years.items():
        sheet = book.create_sheet(name)
        for row in [("Customer", "Date", "Work"), *rows]:
            sheet.append(row)
    path = tmp_path / "jobs.xlsx"
    book.save(path)

    guess(path)

    jobs = Job.objects.order_by("finished_on")
    assert [(job.deck.site.client.name, job.kind, job.span.edtf()) for job in jobs] == [
        ("Una Marrow", "recoat", "2023-05-12"),
        ("Orla Pemberly", "strip", "2023-06-03"),
        ("Una Marrow", "clean", "2024-07-02"),
        ("Thea Windrush", "strip", "2024-08-15"),
        ("Orla Pemberly", "recoat", "[2025-06-01..2025-06-10]"),
    ]


@pytest.mark.parametrize(
    ("dates", "asked", "days"),
    [
        (("May 12", "June 3"), "The day; the year is missing", []),
        (("May 12", "Jul 31"), "The day; the year is missing", []),
        (("May 12", "Jul 19"), "The year", ["2012-05", "2019-07"]),
        (("12 May", "19 juin"), "The day; the year is missing", []),
        (("May 12", "Jul 2019"), "The year", ["2012-05", "2019-07"]),
        (("May 12 2021", "Aug 14-15, 2024"), None, ["2021-05-12", "2024-08-15"]),
    ],
)
def test_a_month_with_a_number_is_asked_about_and_no_day_invented(
    tmp_path: Path, dates: tuple[str, str], asked: str | None, days: list[str]
) -> None:
    path = tmp_path / "list.csv"
    rows = zip(("Una Marrow", "Orla Pemberly"), dates, strict=True)
    lines = [f'{name},Chester,"{day}",oil' for name, day in rows]
    path.write_text("\n".join(["Customer,Town,Date,Work", *lines]))

    found = guess(path)[0]

    doubts = {each["doubt"]: each["guess"] for each in found["doubts"]}
    assert doubts.get("bare_number") == asked
    assert [job.span.edtf() for job in Job.objects.order_by("finished_on")] == days
    assert found["to_complete"] == 2 - len(days)
    assert all("lacks the year" in each["message"] for each in found["problems"])


def test_numbers_behind_months_are_asked_about_in_notes_too(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        'Customer,Town,Notes\nUna Marrow,Chester,"oiled May 12, stripped Jul 2019"\n'
        'Orla Pemberly,Chester,"oiled June 3"\n'
    )

    found = guess(path)[0]

    doubts = {each["doubt"]: each["guess"] for each in found["doubts"]}
    assert doubts["bare_number"] == "The day; the year is missing"
    assert [(job.kind, job.span.edtf()) for job in Job.objects.all()] == [("strip", "2019-07")]


# As a notebook has them.
NOTEBOOK = """Deck people

Ottilie Saltonby - 14 Spruce Rd, Chester - 902-555-0131 - stripped June 2021, oiled 2x Aug 2023
Orla Pemberly, 12 Sandpiper Lane, Lunenburg, 902 555 0151 orla@example.org. Cedar 16x20. Recoat May 2024
Tom Greaves 3 Shore Dr Mahone Bay (902-555-0132) new deck 2022 PT, sealed fall 2023
Harbour House B&B: 1 Wharf St Chester, call Imogen 902-555-0154. 600 sq ft. solid stain 2021
"""  # noqa: E501


def test_lines_of_prose_are_read_as_one_client_each(tmp_path: Path) -> None:
    path = tmp_path / "people.txt"
    path.write_text(NOTEBOOK)

    found = guess(path)[0]

    assert (found["rows"], found["ready"], found["jobs"]) == (4, 4, 5)
    assert "1 line that name nobody was left out." in found["remarks"]
    homes = Property.objects.order_by("client__name")
    assert list(homes.values_list("client__name", "street", "town")) == [
        ("Harbour House B&B", "1 Wharf St", "Chester"),
        ("Orla Pemberly", "12 Sandpiper Lane", "Lunenburg"),
        ("Ottilie Saltonby", "14 Spruce Rd", "Chester"),
        ("Tom Greaves", "3 Shore Dr", "Mahone Bay"),
    ]
    assert ContactPoint.objects.count() == 5
    orla = Deck.objects.get(site__client__name="Orla Pemberly")
    assert (orla.area_m2, orla.species) == (Decimal("29.73"), "red_cedar")


def test_a_french_list_tells_finish_coats_and_whom_not_to_call(tmp_path: Path) -> None:
    path = tmp_path / "liste.csv"
    path.write_text(
        "Nom du client,Cell.,Adresse,Dernier traitement,Produit,Remarques\n"
        '"QUAICLAIR, ÉLODIE",902-555-0161,"22, ch. des Pionniers, Lunenburg",mai 2022,'
        "Huile Tidewood teck 2 couches,rappeler au printemps\n"
        'Basile Ventdoux,902 555-0162 (trav.),"14 rue du Quai, Chester",juillet 2023,'
        "teinture opaque grise,ne pas appeler\n"
    )

    guess(path)

    columns = ("product__name", "product__finish_class", "colour", "coats")
    assert list(CoatApplied.objects.order_by("job__finished_on").values_list(*columns)) == [
        ("Huile Tidewood", "penetrating_oil", "Teck", 2),
        ("Teinture Opaque", "solid_film", "Grise", None),
    ]
    assert set(Client.objects.values_list("name", "notes")) == {
        ("Élodie Quaiclair", ""),
        ("Basile Ventdoux", "Remarques: ne pas appeler"),
    }
    assert ContactPoint.objects.get(client__name="Basile Ventdoux").kind == "phone"


def test_a_table_without_a_header_is_no_prose_whatever_it_lacks(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text(
        'Una Marrow,902-555-0143,"14 Spruce Rd, Chester",clean and recoat,2023-05-11,\n'
        'Orla Pemberly,,"12 Sandpiper Lane, Lunenburg",strip and seal,2024-06-01,780\n'
        'Thea Windrush,902-555-0144,"3 Shore Dr, Mahone Bay",clean and recoat,,640\n'
    )

    found = guess(path)[0]

    assert "Each line was read as one client" not in " ".join(found["remarks"])
    assert (found["rows"], found["ready"], found["jobs"]) == (3, 3, 2)
    assert set(Client.objects.values_list("name", flat=True)) == {
        "Una Marrow",
        "Orla Pemberly",
        "Thea Windrush",
    }


def test_a_sheet_of_clients_with_a_year_in_its_name_invents_no_job(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    sheet.title = "Clients 2025"
    for row in [("Client", "Town", "Product"), ("Una Marrow", "Chester", "Tidewood Deck Oil")]:
        sheet.append(row)
    path = tmp_path / "clients.xlsx"
    book.save(path)

    guess(path)

    assert Client.objects.get().name == "Una Marrow"
    assert not Job.objects.exists()


def test_two_decks_of_one_wood_and_two_sizes_stay_two_when_the_list_is_read_again(
    tmp_path: Path,
) -> None:
    path = tmp_path / "two.csv"
    path.write_text(
        "Client,Address,Deck,Work,Date\n"
        'Orla Pemberly,"12 Sandpiper Lane, Lunenburg",cedar 26 m2,Recoat,2024-06-01\n'
        'Orla Pemberly,"12 Sandpiper Lane, Lunenburg",cedar 10 m2,Recoat,2024-06-01\n'
    )
    guess(path)
    first = list(Deck.objects.order_by("label").values_list("label", "area_m2"))
    guess(path)

    assert first == [("Cedar deck", 26), ("Cedar deck 2", 10)]
    assert list(Deck.objects.order_by("label").values_list("label", "area_m2")) == first
    assert Job.objects.count() == 2


def test_a_row_below_of_another_place_or_size_is_another_deck(tmp_path: Path) -> None:
    path = tmp_path / "decks.csv"
    path.write_text(
        "Client,Address,Deck,Size,Work,Date\n"
        'Orla Pemberly,"12 Sandpiper Lane, Lunenburg",Back deck,24 m2,Recoat,2024-06-01\n'
        ",,,8 m2,Recoat,2024-06-02\n"
        ',"4 Gannet Rise, Lunenburg",,,Recoat,2024-06-03\n'
    )

    guess(path)

    assert sorted(Deck.objects.values_list("site__street", "label", "area_m2")) == [
        ("12 Sandpiper Lane", "Back deck", 24),
        ("12 Sandpiper Lane", "Deck", 8),
        ("4 Gannet Rise", "Deck", None),
    ]


YEARS = """\
Client,Phone,Address,Deck,2021,2022,2023,2024,2025
Orla Pemberly,902-555-0161,"12 Sandpiper Lane, Lunenburg",cedar 26 m2,strip,,recoat,,x
Fennel Brightwater,902-555-0163,"88 Osprey Hill, Lunenburg",ipe,oil,oil,oil,oil,oil
Quill Ottermarsh,902-555-0164,"7 Plover Ct, Lunenburg",front porch,-,,x,,June
"""


def test_a_column_a_year_tells_one_job_a_year(tmp_path: Path) -> None:
    path = tmp_path / "years.csv"
    path.write_text(YEARS)

    found = guess(path)

    assert (found[0]["rows"], found[0]["ready"]) == (3, 3)
    assert [each["rows"] for each in found[0]["doubts"] if each["doubt"] == "kinds"] == [3]
    jobs = Job.objects.order_by("deck__label", "finished_on")
    assert [(job.deck.label, job.kind, job.span.edtf()) for job in jobs] == [
        ("Cedar deck", "strip", "2021"),
        ("Cedar deck", "recoat", "2023"),
        ("Cedar deck", "recoat", "2025"),
        *[("Ipe deck", "recoat", str(year)) for year in range(2021, 2026)],
        ("front porch", "recoat", "2023"),
        ("front porch", "recoat", "2025-06"),
    ]
    assert Deck.objects.get(label="Cedar deck").area_m2 == 26


def test_a_house_number_in_a_column_of_its_own_belongs_to_the_street(tmp_path: Path) -> None:
    path = tmp_path / "civic.csv"
    path.write_text(
        "Name,Civic #,Road,Community,Last done,Stain used\n"
        "Della Windrush,60,Tern Wharf,Lunenburg,2024-05-11,? oil\n"
        "Una Marrow,RR2,,Lunenburg,2019,\n"
    )

    guess(path)

    assert sorted(Property.objects.values_list("street", flat=True)) == ["60 Tern Wharf", "RR2"]
    assert CoatApplied.objects.get(product__isnull=False).product.name == "Oil"


def test_a_list_in_french_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "clients.csv"
    path.write_text(
        "Nom;Téléphone;Adresse;Ville;Terrasse;Grandeur;Travail;Date;Prix\n"
        "Élodie Quaiclair;902-555-0101;14 rue du Quai;Lunenburg;cèdre blanc;16x20;"
        "décapage et huile 2 couches;mai 2022;1 840,00 $\n"
        "Basile Ventdoux;902 555-0102;22 ch. des Pionniers;Lunenburg;pin traité;30 m2;"
        "teint opaque;été 2023;725,50 $\n"
    )

    found = guess(path)

    assert (found[0]["ready"], found[0]["jobs"]) == (2, 2)
    columns = ("deck__species", "kind", "amount", "coats_applied__product__name")
    jobs = Job.objects.order_by("finished_on")
    assert list(jobs.values_list(*columns, "coats_applied__coats")) == [
        ("white_cedar", "strip", Decimal("1840.00"), "Deck oil", 2),
        ("treated_pine", "recoat", Decimal("725.50"), "Solid stain", None),
    ]
    assert [job.span.edtf() for job in jobs] == ["2022-05", "2023-22"]
