"""What grows with the book and what stays flat: the same few things in books of several sizes, each
in a scratch database of its own; as a table in Markdown, and as a picture."""

import math
import tempfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import partial
from pathlib import Path

from django.test import Client as Browser

from jobs import search
from reminders import actions
from reminders.models import Forecast
from reminders.pacing.actions import save_pacing_plan
from reminders.pacing.inputs import horizon_from_month
from restorer.backup import write_backup
from tests.bench import importing
from tests.bench.lists import list_addresses
from tests.bench.pages import bench_owner
from tests.bench.timing import elapsed_seconds

PAGES = ["Today", "due list", "clients", "clients, last page", "offers", "a deck"]
SEARCHES = ["otilie", "halifax 2025", "tidewood slate", "client77", "recoats"]
TIMES = 9
IMPORTED_ROWS = 1_000
PLAN_WEEKS = 26
REFRESHED = 30
ROW = 24  # all lengths in the units of the view box
LEFT, RIGHT, TOP = 190, 560, 46
STYLE = (
    "text{font:13px sans-serif;fill:#222}line{stroke:#999}circle{fill:#1f6f5c}"
    "@media(prefers-color-scheme:dark){text{fill:#eee}line{stroke:#777}circle{fill:#7fd1ba}}"
)


def measure_growth(today: date, now: datetime) -> dict[str, float]:
    """In a book with forecasts, offers, messages and a diary."""
    found = {
        **page_times(today),
        "search, ms": search_time(today),
        "forecast of one deck, ms": one_forecast(today, now),
        "all forecasts, s": elapsed_seconds(
            partial(actions.refresh_forecasts, today=today, now=now)
        ),
        "plan of half a year, s": elapsed_seconds(partial(plan_half_a_year, today, now)),
        f"list of {IMPORTED_ROWS:,} rows, s": import_time(),
    }
    return found | backup_figures(now)


def page_times(today: date) -> dict[str, float]:
    """Milliseconds of the whole page, the least of some: what else the machine does at the moment
    only adds."""
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(bench_owner())
    addresses = list_addresses(today)
    return {f"{name}, ms": least_ms(partial(open_page, browser, addresses[name])) for name in PAGES}


def least_ms(act: partial[object]) -> float:
    act()  # what is kept for a while is there
    return 1000 * min(elapsed_seconds(act) for _ in range(TIMES))


def open_page(browser: Browser, address: str) -> None:
    if browser.get(address).status_code != 200:
        raise RuntimeError(f"{address} does not open.")


def search_time(today: date) -> float:
    """The slowest of some kinds of search, each the least of some [ms]."""
    return max(
        least_ms(partial(search.find_decks, text, filters=search.NO_FILTERS, today=today))
        for text in SEARCHES
    )


def one_forecast(today: date, now: datetime) -> float:
    """As after a logged job, the least of some [ms]."""
    decks = list(Forecast.objects.order_by("deck").values_list("deck", flat=True)[:REFRESHED])
    return 1000 * min(
        elapsed_seconds(partial(actions.refresh_forecasts, deck_ids=[deck], today=today, now=now))
        for deck in decks
    )


def plan_half_a_year(today: date, now: datetime) -> None:
    spring = date(today.year + 1, 3, 1)
    save_pacing_plan(
        horizon=horizon_from_month(spring, weeks=PLAN_WEEKS, percent=100, today=today), now=now
    )


def import_time() -> float:
    return elapsed_seconds(partial(importing.measure_list_import, IMPORTED_ROWS))


def backup_figures(now: datetime) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.backup"
        took = elapsed_seconds(partial(write_backup, path=path, passphrase="", now=now))
        return {"backup, s": took, "backup, MB": path.stat().st_size / 1e6}


def growth_table(found: Mapping[int, Mapping[str, float]]) -> str:
    """A row a figure, a column a size, and how many times the largest book takes of the
    smallest."""
    sizes = sorted(found)
    heads = ["", *(f"{size:,} decks" for size in sizes), f"× from {sizes[0]:,} to {sizes[-1]:,}"]
    lines = [heads, ["---", *["---:"] * (len(heads) - 1)]]
    for name in found[sizes[0]]:
        values = [found[size][name] for size in sizes]
        times = values[-1] / values[0]
        lines.append([name, *(f"{each:,.3g}" for each in values), said_times(times)])
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def growth_picture(found: Mapping[int, Mapping[str, float]]) -> str:
    """A dot a figure: how many times the largest book takes of the smallest, on a scale of
    logarithms; what stays flat stands at the left line, what grows with the book at the right."""
    sizes = sorted(found)
    first, last = found[sizes[0]], found[sizes[-1]]
    times = {
        name.removesuffix(", ms").removesuffix(", s"): last[name] / first[name] for name in first
    }
    whole = sizes[-1] / sizes[0]
    height = TOP + ROW * len(times) + 10
    title = f"From {sizes[0]:,} to {sizes[-1]:,} decks"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 {height}" role="img">',
            f"<title>{title}</title><style>{STYLE}</style>",
            *scale_line("the same", 1, whole, height),
            *scale_line(f"{whole:,.0f} times", whole, whole, height),
            *(
                line
                for place, (name, each) in enumerate(times.items())
                for line in figure_row(name, each, whole, TOP + ROW * place)
            ),
            "</svg>",
            "",
        ]
    )


def said_times(times: float) -> str:
    return f"{times:,.0f}" if times >= 10 else f"{times:.1f}"


def place_of(times: float, whole: float) -> float:
    share = math.log(max(times, 1)) / math.log(whole)
    return round(LEFT + (RIGHT - LEFT) * share, 1)


def scale_line(words: str, times: float, whole: float, height: int) -> Sequence[str]:
    x = place_of(times, whole)
    return [
        f'<text x="{x}" y="20" text-anchor="middle">{words}</text>',
        f'<line x1="{x}" x2="{x}" y1="28" y2="{height - 6}"/>',
    ]


def figure_row(name: str, times: float, whole: float, top: int) -> Sequence[str]:
    x = place_of(times, whole)
    middle = top + ROW // 2
    return [
        f'<text x="0" y="{middle + 4}">{name}</text>',
        f'<circle cx="{x}" cy="{middle}" r="5"/>',
        f'<text x="{x + 10}" y="{middle + 4}">{said_times(times)}</text>',
    ]
