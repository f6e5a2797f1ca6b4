"""What a crew takes along: tools, and what protects the people. Common practice, no source; data
sheets and the rules of the place go before it."""

from collections.abc import Collection

CHEMICAL_TASKS = {"strip", "clean", "brighten"}
ALWAYS_TOOLS = [
    "Hammer, bits, spare screws and nails",
    "Covers for plants, sheets and tape for walls, glass and metal",
    "Moisture meter, thermometer and hygrometer",
    "First aid, water to rinse eyes, the data sheets",
]
TOOLS_OF_TASKS = [
    (CHEMICAL_TASKS, "Sprayer or roller for chemicals, stiff brushes, scraper"),
    (
        CHEMICAL_TASKS,
        "Hose that fits the tap, washer with a wide nozzle, brooms, buckets, pH paper",
    ),
    ({"strip"}, "Sheets, bags or a drum for what comes off; local rules say where it goes"),
    ({*CHEMICAL_TASKS, "sand"}, "Cord with RCD or GFCI"),
    ({"sand"}, "Sander, discs of 60 to 80 grit, vacuum, broom"),
    ({"coat"}, "Brushes, pads and trays"),
    ({"coat"}, "Masking tape and paper for walls and posts, signs “wet”"),
]
FOR_RAGS = "Closed metal can with water for oily rags"
ALWAYS_PROTECTION = ["Gloves, eye protection and boots that do not slip"]
PROTECTION_OF_TASKS = [
    (CHEMICAL_TASKS, "Chemical-resistant gloves, goggles, mask, apron"),
    ({"sand"}, "Dust mask that fits, hearing protection"),
]


def tools_for(tasks: Collection[str], *, may_burn: bool = False) -> list[str]:
    """By the tasks of the price list that the day's steps hold; `may_burn`: rags of a finish that
    heat up by themselves."""
    found = [words for needed, words in TOOLS_OF_TASKS if needed & set(tasks)]
    return [*ALWAYS_TOOLS, *found, *([FOR_RAGS] if may_burn else [])]


def protection_for(tasks: Collection[str], *, is_high: bool) -> list[str]:
    """`is_high`: a deck from which somebody could fall, or of which nobody knows how high it is."""
    found = [words for needed, words in PROTECTION_OF_TASKS if needed & set(tasks)]
    falls = ["Protection against falls, ladder secured"] if is_high else []
    return [*ALWAYS_PROTECTION, *found, *falls]
