"""Three lists as small tradespeople keep them, with invented people, written anew for each test.

A sheet with one row a client, the lines of an accounting export, and a list kept by hand.
"""

import csv
import random
from datetime import date, timedelta
from pathlib import Path

from openpyxl import Workbook

FIRST = (
    "Ottilie Halvard Marlow Thaddeus Vivian Bram Isolde Corwin Petra Lazlo Wilhelmina Ansel Odette"
    " Rufus Sunniva Barnaby Cosima Edmund Fenella Gideon"
).split()
LAST = (
    "Saltonby Quillfeather Penhallow Drumgoole Wetherby Oakenfold Tansley Brackwater Merrowdown"
    " Hollowby Thistlewick Garrowby Plumbridge Stavely Cobbledick Ravenscar Dunmarsh Eiderson"
    " Fernhollow Kittiwake"
).split()
ROADS = ["Gannet Row", "Tern Wharf Rd", "Eider Dr.", "Plover Lane", "Cormorant Ln", "Puffin St"]
TOWNS = ["Lunenburg", "Mahone Bay", "Chester", "Bridgewater", "Lunenburg", "Blue Rocks"]
OIL_SPELLINGS = [
    *("Tidewood Deck Oil", "tidewood deck oil", "Tidewood oil", "Tidewod deck oil"),
    *("Tide Wood Deck Oil", "TIDEWOOD DECK OIL"),
]
OTHER_SPELLINGS = ["Saltmarsh semi-transparent", "Saltmarsh Semi", "Kelpline Clear Guard"]
COLOURS = ["slate", "Driftwood", "honey", ""]


def invented_people(count: int, seed: int) -> list[tuple[str, str]]:
    """Different first and last names."""
    chance = random.Random(seed)
    pairs = [(first, last) for first in FIRST for last in LAST]
    return chance.sample(pairs, count)


def write_client_sheet(path: Path) -> int:
    """One row a client: last done, product used, notes; a title above. Returns the rows."""
    chance = random.Random(7)
    dates = [
        *(
            "Mar 2023",
            "14/11/22",
            "7/3/22",
            "spring 21",
            "2019",
            "14-Jun-24",
            "June 2024",
            "fall 2022",
        ),
        *("2024-08-19", "25/9/23", "Sept 2020", "early 2021"),
    ]
    sizes = ["24 m2", "260 sq ft", "12x14", "~320'", "18.5 m2", "16x20", "300 sqft", "210 sq. ft."]
    timber = ["PT", "cedar", "PT", "pressure treated", "WRC", "hemlock", "PT", ""]
    book = Workbook()
    sheet = book.active
    sheet.append(["Client list, updated March"])
    sheet.append([])
    sheet.append(
        [
            *(
                "Name",
                "Phone",
                "Email",
                "Address",
                "Deck size",
                "Wood",
                "Last done",
                "Product used",
            ),
            *("Price", "Notes"),
        ]
    )
    people = invented_people(60, 7)
    for at, (first, last) in enumerate(people):
        spelling = chance.choice([*OIL_SPELLINGS, *OIL_SPELLINGS, *OTHER_SPELLINGS])
        colour = chance.choice(COLOURS)
        town = TOWNS[at % len(TOWNS)]
        phone = f"902-555-01{at:02d}"
        second = f"506.555.01{at:02d}"
        sheet.append(
            [
                f"{last}, {first}" if at % 3 else f"{first} {last}",
                [phone, f"(902) 555-01{at:02d} cell", f"555-01{at:02d}", f"{phone} / {second} (c)"][
                    at % 4
                ],
                f"{first}@example.org".lower() if at % 2 else "",
                f"{at + 3} {ROADS[at % len(ROADS)]}, {town}{', NS' if at % 2 else ''}",
                sizes[at % len(sizes)],
                timber[at % len(timber)],
                date(2022, 5, 3) + timedelta(days=at) if at % 10 == 9 else dates[at % len(dates)],
                f"{spelling}{' - ' + colour if colour else ''}" if at % 9 else "",
                ["$1,250.00 + tax", "980", "$640", ""][at % 4],
                ["stripped", "2 cts, 1 gal", "dog, ring first", "oiled 2x spring 19", ""][at % 5],
            ]
        )
    sheet.append(
        [
            *("Ottilie & Hal Saltonbey", "902-555-0161", "hal@example.org"),
            *("77 Puffin St, Chester", "200 sf", "cedar", "May 2022", "Tidewood oil", "700", ""),
        ]
    )
    sheet.append(
        [
            "Ottilie Saltonbey",
            "902-555-0161",
            "",
            "77 Puffin Street, Chester",
            "",
            "",
            "2019",
            "",
            "",
            "",
        ]
    )
    sheet.append(
        ["Bayside Cottages Ltd", "902-555-0177", "", "", "", "", "", "", "", "call in May"]
    )
    book.save(path)
    return len(people) + 3


def write_invoice_lines(path: Path) -> int:
    """Lines of invoices as an accounting program exports them. Returns the lines."""
    chance = random.Random(11)
    header = ["Num", "Date", "Customer", "Address", "Item", "Qty", "Rate", "Amount", "Balance"]
    lines: list[list[str]] = []
    for at, (first, last) in enumerate(invented_people(30, 11)):
        day = date(2021, 4, 5) + timedelta(days=at * 47)
        head = [
            f"{1041 + at}",
            f"{day:%m/%d/%Y}",
            f"{first} {last}",
            f"{at + 40} {ROADS[at % len(ROADS)]}, {TOWNS[at % 4]}, NS B0J 2C0",
        ]
        work = [
            "Strip and seal back deck, 260 sq ft",
            "Clean & recoat deck",
            "Deck wash",
            "Re-oil deck 24 m2",
            "Replace two boards on deck",
        ][at % 5]
        colour = chance.choice(["Slate", "Driftwood", "Honey"])
        oil = f"{OIL_SPELLINGS[at % len(OIL_SPELLINGS)]}, {colour} 4 L"
        items = [(work, "1", "850.00")]
        if at % 5 not in {2, 4}:
            items.append((oil, "1", "149.00"))
        items.append(("Travel", "1", "40.00"))
        if at % 6 == 0:
            items.append(("Discount", "1", "-50.00"))
        items.append(("HST 14%", "", "142.00"))
        for item, quantity, amount in items:
            lines.append([*head, item, quantity, amount, amount, "0.00"])
    with path.open("w", newline="", encoding="cp1252") as file:
        writer = csv.writer(file)
        writer.writerow(["Driftline Deck Care"])
        writer.writerow(["Sales by customer detail"])
        writer.writerow([])
        writer.writerow(header)
        writer.writerows(lines)
        writer.writerow(["TOTAL", "", "", "", "", "", "", "25,120.00", ""])
    return len(lines)


def write_hand_list(path: Path) -> int:
    """A list kept by hand: towns as headings, merged names, notes with the work in them."""
    notes = [
        *("oiled 2x spring 21, strip 2018", "stripped 2019; recoat 7/6/22 2 coats", "oil 2020"),
        *("S&S June 2023", "washed May 2021 and oiled June 2021", "wants a quote, never done yet"),
        *("recoat fall 2022, Tidewood slate", "strip 2017, oiled 2019, oiled 2022"),
    ]
    book = Workbook()
    sheet = book.active
    sheet.title = "Decks"
    sheet.append(["OUR DECKS"])
    sheet.append([])
    sheet.append(["Who", "Tel", "Where", "Deck", "Size", "Wood", "What and when"])
    people = iter(invented_people(34, 23))
    count = 0
    for town in ("Lunenburg", "Mahone Bay", "Blue Rocks", "Chester"):
        sheet.append([])
        sheet.append([f"{town.upper()}"])
        for place in range(8):
            first, last = next(people)
            row = sheet.max_row + 1
            sheet.append(
                [
                    f"{first} {last}",
                    ["555-0123", "902-555-0132 cell", "", "902 555 0141 / 902 555 0142 c"][
                        place % 4
                    ],
                    f"{place * 3 + count + 2} {ROADS[place % len(ROADS)]}",
                    "back deck" if place == 3 else "",
                    ["12x14", "320'", "16 x 20", "", "about 200 sq ft"][place % 5],
                    ["PT", "cedar", "", "ipe"][place % 4],
                    notes[(count + place) % len(notes)],
                ]
            )
            if place == 3:
                sheet.append(["", "", "", "front steps", "6x8", "PT", "oil 2020"])
                for column in "ABC":
                    sheet.merge_cells(f"{column}{row}:{column}{row + 1}")
        count += 9
    old = book.create_sheet("Old 2012-2017")
    old.append(["Name", "Address", "Town", "Year", "What"])
    for first, last in people:
        old.append([f"{first} {last}", "5 Tern Wharf Rd", "Lunenburg", 2015, "strip"])
    book.save(path)
    return count
