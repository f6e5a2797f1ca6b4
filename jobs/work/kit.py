"""What a crew takes along: tools, and what protects the people. Common practice, no source; data
sheets and the rules of the place go before it."""

from collections.abc import Collection

CHEMICAL_TASKS = {"strip", "clean", "brighten"}
ALWAYS_TOOLS = [
    "Hammer, bits, spare screws and nails",
    "Covers and tape for plants, walls and metal",
    "Moisture meter, thermometer and hygrometer",
    "First aid, water to rinse eyes, the data sheets",
]
TOOLS_OF_TASKS = [
    (CHEMICAL_TASKS, "Sprayer or roller for chemicals, stiff brushes, scraper"),
    (CHEMICAL_TASKS, "Hose, washer with a wide nozzle, pH paper, cord with RCD or GFCI"),
    ({"sand"}, "Sander, discs of 60 to 80 grit, vacuum, broom"),
    ({"coat"}, "Brushes, pads or rollers, trays, masking tape, signs “wet”"),
    ({"coat"}, "Closed metal can with water for rags"),
]
ALWAYS_PROTECTION = ["Boots that do not slip", "Eye protection"]
PROTECTION_OF_TASKS = [
    (CHEMICAL_TASKS, "Chemical-resistant gloves, goggles, mask, apron"),
    ({"sand"}, "Dust mask that fits, hearing protection"),
    ({"coat"}, "Gloves for the finish"),
]


def tools_for(tasks: Collection[str]) -> list[str]:
    """By the tasks of the price list that the day's steps hold."""
    return [*ALWAYS_TOOLS, *(words for needed, words in TOOLS_OF_TASKS if needed & set(tasks))]


def protection_for(tasks: Collection[str], *, is_high: bool) -> list[str]:
    """`is_high`: a deck from which somebody could fall, or of which nobody knows how high it is."""
    found = [words for needed, words in PROTECTION_OF_TASKS if needed & set(tasks)]
    falls = ["Protection against falls, ladder secured"] if is_high else []
    return [*ALWAYS_PROTECTION, *found, *falls]
