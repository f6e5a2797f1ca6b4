"""The materials of a scope: litres of each product, what of them is on the shelf, the cheapest
packs for the rest."""

from dataclasses import dataclass, field, replace
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from clients import display
from clients.models import Deck
from jobs import materials
from jobs.models import Product
from jobs.scope.definitions import Need
from jobs.scope.finish import FinishChoice
from jobs.scope.history import DeckHistory
from jobs.scope.shelf import Shelf
from jobs.scope.work import RECOAT, STRIP, ProposedWork
from jobs.work import is_film

# Where a data sheet says nothing (common practice, no source): 9 m² a litre of finish, 1 mm of
# stripper; the wet films of cleaner and brightener, and the square metres a disc lasts, are
# judgements.
USUAL_SPREAD = Decimal(9)
USUAL_FILM_MM = {"stripper": Decimal(1), "cleaner": Decimal("0.2"), "brightener": Decimal("0.2")}
DISC_M2: dict[str, Decimal] = {STRIP: Decimal(5), RECOAT: Decimal(10)}
GREY_GRADE = 3  # greying from which a recoat is brightened as well (common practice, no source)
MIX_BATCHES_NOTE = (  # common practice, no source
    "Mix cans of different batches before you start, so that the colour is one."
)
CENT = Decimal("0.01")
KIND_LABELS = {
    "stripper": "Stripper",
    "cleaner": "Cleaner",
    "brightener": "Brightener",
    "finish": "Finish",
}


@dataclass
class Supply:
    """The shelf as the decks of one property use it up;
    tins given to one deck are gone for the next."""

    shelf: Shelf
    drawn_litres: dict[int, Decimal] = field(default_factory=dict)

    def draw(self, product: Product, colour: str, litres: Decimal) -> Decimal:
        """Litres from the tins, the oldest first."""
        got = Decimal(0)
        for tin in self.shelf.tins_for(product, colour):
            portion = min(tin.litres - self.drawn_litres.get(tin.pk, Decimal(0)), litres - got)
            self.drawn_litres[tin.pk] = self.drawn_litres.get(tin.pk, Decimal(0)) + portion
            got += portion
        return got


def surfaces_of(deck: Deck) -> materials.Surfaces | None:
    """None while the size of its boards is not known."""
    if deck.area_m2 is None:
        return None
    return materials.Surfaces.from_measures(
        area_m2=deck.area_m2, treads=deck.stair_treads, rail_m=deck.rail_m, screen_m2=deck.screen_m2
    )


def is_brightened(history: DeckHistory, work: ProposedWork) -> bool:
    return work.work == STRIP or (history.last_grade("greying") or 0) >= GREY_GRADE


def chemicals_for(
    history: DeckHistory, work: ProposedWork, shelf: Shelf
) -> dict[str, Product | None]:
    """The stripper, cleaner and brightener that the work takes, in the order they go on."""
    kinds = ["stripper"] if work.work == STRIP else ["cleaner"]
    if is_brightened(history, work):
        kinds.append("brightener")
    return {kind: shelf.most_used(kind) for kind in kinds}


def material_needs(
    history: DeckHistory,
    work: ProposedWork,
    choice: FinishChoice,
    surfaces: materials.Surfaces | None,
    supply: Supply,
) -> list[Need]:
    """In the order of the work; none for a deck whose size nobody knows."""
    if surfaces is None:
        return []
    chemicals = [
        chemical_need(
            kind, product, surfaces, work.stripper_applications if kind == "stripper" else 1, supply
        )
        for kind, product in chemicals_for(history, work, supply.shelf).items()
    ]
    return [
        *chemicals,
        *([disc_need(surfaces, work)] if work.is_sanded else []),
        finish_need(history, work, choice, surfaces, supply),
    ]


def chemical_need(
    kind: str,
    product: Product | None,
    surfaces: materials.Surfaces,
    applications: int,
    supply: Supply,
) -> Need:
    words = KIND_LABELS[kind] + (f", {applications} full applications" if applications > 1 else "")
    litres, note = chemical_litres(kind, product, surfaces.total, applications)
    return need_from_supply(Need(product, kind, words, litres=litres, note=note), supply)


def chemical_litres(
    kind: str, product: Product | None, area_m2: Decimal, applications: int
) -> tuple[Decimal, str]:
    """By the film of the data sheet, else its spread rate, else common practice."""
    loss = loss_share_of(product)
    if product and product.film_mm:
        film = product.film_mm
        note = f"{two_decimals(product.film_mm)} mm wet film by its data sheet."
    elif product and product.spread_m2_per_l:
        litres = materials.litres_at_spread(
            area_m2=area_m2,
            coats=applications,
            spread_m2_per_l=product.spread_m2_per_l,
            loss_share=loss,
        )
        return (
            litres,
            f"{display.format_measure(product.spread_m2_per_l, 'spread')} by its data sheet.",
        )
    else:
        film = USUAL_FILM_MM[kind]
        known = (
            f"the data sheet of {product} gives no film"
            if product
            else f"no {kind} is in use under Products"
        )
        note = f"Calculated with {two_decimals(film)} mm (common practice): {known}."
    return (
        materials.litres_at_film(
            area_m2=area_m2, film_mm=film, applications=applications, loss_share=loss
        ),
        note,
    )


def two_decimals(value: Decimal) -> str:
    return display.format_number(value, places=2)


def loss_share_of(product: Product | None) -> Decimal:
    return Decimal(product.loss_percent if product else 0) / 100


def finish_need(
    history: DeckHistory,
    work: ProposedWork,
    choice: FinishChoice,
    surfaces: materials.Surfaces,
    supply: Supply,
) -> Need:
    product = choice.product
    spread, loss, note = spread_for(history, product)
    by_surface = {
        name: materials.litres_at_spread(
            area_m2=area, coats=work.coats, spread_m2_per_l=spread, loss_share=loss
        )
        for name, area in surfaces.nonzero_areas()
    }
    words = f"Finish, {work.coats} coat{'' if work.coats == 1 else 's'}"
    need = Need(
        product,
        "finish",
        words,
        litres=sum(by_surface.values(), Decimal(0)),
        colour=choice.colour,
        note=note,
        by_surface=by_surface,
    )
    return need_from_supply(need, supply)


def spread_for(history: DeckHistory, product: Product | None) -> tuple[Decimal, Decimal, str]:
    """Spread rate, share lost, and what they rest on.
    What was measured here has texture, timber and loss in it."""
    measured = history.measured_spread(product) if product else None
    if measured:
        return (
            measured,
            Decimal(0),
            f"{display.format_measure(measured, 'spread')} a coat, as measured on this deck.",
        )
    stated = product.spread_m2_per_l if product else None
    spread = materials.expected_spread(
        stated or USUAL_SPREAD,
        texture=history.deck.texture,
        species_class=history.deck.species_class,
        is_film=product is not None and is_film(product),
    )
    return spread, loss_share_of(product), spread_note(history.deck, stated, spread)


def spread_note(deck: Deck, stated: Decimal | None, spread: Decimal) -> str:
    start = (
        "by its data sheet"
        if stated
        else "by common practice, since its data sheet gives no spread rate"
    )
    text = f"{display.format_measure(stated or USUAL_SPREAD, 'spread')} a coat {start}"
    if spread == (stated or USUAL_SPREAD):
        return f"{text}."
    species = deck.get_species_display().lower() if deck.is_species_known else "boards"
    timber = f"{deck.get_texture_display().lower()} {species}"
    return f"{text}, {display.format_measure(spread, 'spread')} on {timber}."


def disc_need(surfaces: materials.Surfaces, work: ProposedWork) -> Need:
    """Only what is walked on is sanded by machine."""
    pieces = (surfaces.boards + surfaces.stairs) / DISC_M2[work.work]
    count = int(pieces.to_integral_value(rounding=ROUND_CEILING))
    return Need(
        None,
        "abrasive",
        "Sanding discs, 60 to 80 grit",
        pieces=count,
        note="A judgement; have more with you.",
    )


def need_from_supply(need: Need, supply: Supply) -> Need:
    """The same need with what the tins give and what is to be bought;
    a purchase beyond reason is said, not made."""
    if need.product is None:
        return need
    packs = supply.shelf.packs.get(need.product.pk, [])
    from_tins = supply.draw(need.product, need.colour, need.litres)
    try:
        purchase = materials.cheapest_purchase(need.litres - from_tins, packs)
    except materials.MaterialError as error:
        return replace(need, from_tins=from_tins, note=f"{need.note} {error}")
    return need_with_purchase(replace(need, from_tins=from_tins), purchase, packs)


def need_with_purchase(
    need: Need, purchase: materials.Purchase | None, packs: list[materials.PackPrice]
) -> Need:
    value = litres_worth(need.litres, purchase, packs)
    if purchase is None:
        return replace(need, worth=value)
    if (
        need.from_tins
        and purchase.counts
        and need.product
        and need.product.pigment != Product.Pigment.NONE
    ):
        need = replace(need, note=f"{need.note} {MIX_BATCHES_NOTE}")
    return replace(
        need,
        packs=list(purchase.counts),
        cost=purchase.cost,
        leftover_litres=purchase.leftover,
        worth=value,
    )


def litres_worth(
    litres: Decimal, purchase: materials.Purchase | None, packs: list[materials.PackPrice]
) -> Decimal | None:
    """The litres at the price of a litre as bought; all from tins:
    at the best price of a litre that is sold."""
    if purchase and purchase.counts:
        price = purchase.cost / sum(each.litres * each.number for each in purchase.counts)
    elif packs:
        price = min(pack.price / pack.litres for pack in packs)
    else:
        return None
    return (litres * price).quantize(CENT, rounding=ROUND_HALF_UP)
