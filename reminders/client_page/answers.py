"""What the client pressed, done: an offer drafted, reminders stopped, details proposed, consent
given or withdrawn. Each press locks the link, counts once, and can be taken back."""

from collections.abc import Collection, Mapping
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.actions.clients import (
    ConsentInput,
    ContactInput,
    record_consent,
    save_contact_points,
)
from clients.messaging import suppression
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import Consent, ToDo
from clients.messaging.outbox import opt_out
from clients.models import Business, Client, ContactPoint, Deck, User
from jobs.actions.offers import record_offer_event, withdraw_offer
from jobs.models import Offer, OfferEvent
from jobs.offers import PricingError, week_text
from reminders.actions import stop_reminders
from reminders.care_plans import end_care_plan
from reminders.client_page.page import ContactChoice, contact_choices, link_deck_ids
from reminders.client_page.season import season_end
from reminders.models import CarePlan, ClientAnswer, ClientLink, Forecast, Stop
from reminders.offer_drafting import draft_offers

Kind = ClientAnswer.Kind
DECISIONS = (Kind.OFFER, Kind.NOT_NOW, Kind.SOLD)  # the newest of these three takes the others back
MAX_ANSWERS = 40  # of one link, taken back or not; one that got about cannot fill the book
ASKED_ON_PAGE = "Asked on the client’s page."
TAKEN_BACK = _("You took your request back.")
CONTACT_KINDS = {
    "email": ContactPoint.Kind.EMAIL,
    "mobile": ContactPoint.Kind.MOBILE,
    "phone": ContactPoint.Kind.PHONE,
}
POSTAL_FIELDS = ("street", "town", "region", "postcode")


class ClientPageError(ValueError):
    """It cannot be done like this; the message tells the client why and what to do."""


@transaction.atomic
def ask_for_offer(
    *, link: ClientLink, week: date | None, words: str, now: datetime
) -> ClientAnswer:
    """Draft offers for the decks of the link, with the week that the client would like, and put
    them before a person. Where nothing can be drafted the person hears why."""
    row, there = open_link(link, Kind.OFFER)
    if there:
        return there
    take_back_decisions(row, now)
    answer = keep_answer(row, Kind.OFFER, {"week": week and week.isoformat(), "words": words}, now)
    offers, why_not = draft_requested_offers(row, now)
    wanted = f"would like the week of {week_text(week)}" if week else "asks for a price"
    said = f"{row.message.client.name} {wanted}."
    for offer in offers:
        note = f"The client’s page: {wanted}. {words}".strip()
        record_offer_event(offer, OfferEvent.Kind.CHANGED, now=now, words=note)
    numbers = ", ".join(offer.reference for offer in offers)
    told = f"Offer {numbers} is drafted: look at it and send it." if offers else why_not
    url = f"/offers/{offers[0].pk}/" if offers else f"/clients/{row.message.client_id}/"
    add_answer_to_do(answer, f"{said} {told} {words}", url, now)
    answer.given["offers"] = [offer.pk for offer in offers]
    answer.save(update_fields=["given"])
    return answer


def draft_requested_offers(link: ClientLink, now: datetime) -> tuple[list[Offer], str]:
    """The drafts, and in words why there is none."""
    today = Business.objects.get().today(now)
    try:
        drafted = draft_offers(deck_ids=link_deck_ids(link), today=today, now=now, by=None)
    except PricingError as problem:
        return [], f"Nothing is drafted: {problem}"
    reasons = "; ".join(f"{deck.label}: {why}" for deck, why in drafted.left_out)
    return drafted.offers, f"Nothing is drafted. {reasons}".strip()


@transaction.atomic
def skip_this_year(*, link: ClientLink, now: datetime) -> ClientAnswer:
    """No more reminders about these decks until the season is over."""
    row, there = open_link(link, Kind.NOT_NOW)
    if there:
        return there
    take_back_decisions(row, now)
    business = Business.objects.get()
    until = season_end(business.today(now), business.season_months)
    answer = keep_answer(row, Kind.NOT_NOW, {"until": until.isoformat()}, now)
    stop_by_answer(answer, link_deck_ids(row), Stop.Why.ASKED, "Not this year", until, now)
    name = row.message.client.name
    words = f"{name}: not this year. No reminders until {display.format_day(until)}."
    add_answer_to_do(answer, words, f"/clients/{row.message.client_id}/", now)
    return answer


@transaction.atomic
def report_sale(*, link: ClientLink, now: datetime) -> ClientAnswer:
    """No more reminders about any deck of these properties, and no care plan; a person enters who
    owns them now."""
    row, there = open_link(link, Kind.SOLD)
    if there:
        return there
    take_back_decisions(row, now)
    answer = keep_answer(row, Kind.SOLD, {}, now)
    places = Deck.objects.filter(pk__in=link_deck_ids(row)).order_by().values("site")
    for plan in CarePlan.objects.running().filter(site__in=places):
        end_care_plan(plan=plan, ended_by=CarePlan.EndedBy.CLIENT, now=now)
    decks = Deck.objects.filter(site__in=places).select_related("site")
    stop_by_answer(answer, [deck.pk for deck in decks], Stop.Why.SOLD, "", None, now)
    streets = ", ".join(sorted({deck.site.street for deck in decks}))
    words = (
        f"{row.message.client.name} has sold {streets}. Reminders are stopped: archive the decks,"
        " or enter the new owner."
    )
    add_answer_to_do(answer, words, f"/clients/{row.message.client_id}/", now)
    return answer


def stop_by_answer(
    answer: ClientAnswer,
    deck_ids: Collection[int],
    why: str,
    words: str,
    until: date | None,
    now: datetime,
) -> None:
    """Stop what no longer stop covers already; the answer remembers which coats, to undo it."""
    coats = dict(Forecast.objects.filter(deck__in=deck_ids).values_list("deck_id", "job_id"))
    covered = {
        stop.job_id
        for stop in Stop.objects.filter(job__in=coats.values())
        if stop.until is None or (until and stop.until >= until)
    }
    stopped = {deck: job for deck, job in coats.items() if job not in covered}
    stop_reminders(deck_ids=list(stopped), why=why, words=words, until=until, by=None, now=now)
    answer.given["stopped"] = sorted(stopped.values())
    answer.save(update_fields=["given"])


@transaction.atomic
def propose_details(*, link: ClientLink, details: Mapping[str, str], now: datetime) -> ClientAnswer:
    """Keep what the client typed for a person to accept; the same again is the same proposal."""
    row, there = open_link(link, Kind.DETAILS)
    typed = {name: value.strip() for name, value in details.items() if value.strip()}
    if there and there.given == typed:
        return there
    answer = keep_answer(row, Kind.DETAILS, typed, now)
    words = f"{row.message.client.name} corrects their details: {', '.join(typed.values())}"
    add_answer_to_do(answer, words, f"/reminders/answers/{answer.pk}/", now)
    return answer


@transaction.atomic
def set_contact_choices(
    *, link: ClientLink, allowed: Collection[str], now: datetime
) -> ClientAnswer | None:
    """Consent by each channel as ticked; what is withdrawn counts at once. None where nothing
    changed."""
    row, _there = open_link(link, Kind.CONTACT)
    client = row.message.client
    business = Business.objects.get()
    with display.in_client_language(client.language):  # the words that were read
        choices = contact_choices(client, business, today=business.today(now))
    changed = [each for each in choices if each.is_allowed != (each.channel in allowed)]
    if not changed:
        return None
    given = {each.channel: each.channel in allowed for each in changed}
    answer = keep_answer(row, Kind.CONTACT, given, now)
    for choice in changed:
        set_contact_choice(choice, row, business, now)
    said = [f"{each.label} {'yes' if given[each.channel] else 'no'}" for each in changed]
    words = f"{client.name} chose how we may write: {', '.join(said)}. It counts already."
    add_answer_to_do(answer, words, f"/clients/{client.pk}/", now)
    return answer


def set_contact_choice(
    choice: ContactChoice, link: ClientLink, business: Business, now: datetime
) -> None:
    client = link.message.client
    evidence = f"The client’s page, from message {link.message.message_id}"[:300]
    if choice.is_allowed:
        asked = opt_out.OptOut(choice.channel, choice.address, [client], ASKED_ON_PAGE, evidence)
        opt_out.opt_out_address(asked=asked, now=now)
        return
    suppression.unsuppress_address(
        business=business, channel=choice.channel, address=choice.address
    )
    entry = ConsentInput(
        channel=choice.channel,
        is_given=True,
        basis=Consent.Basis.EXPRESS,
        wording=choice.wording,
        evidence=evidence,
        is_welcome_again=True,
        asked_where=Consent.AskedWhere.PAGE,
    )
    record_consent(client=client, entry=entry, by=None, now=now)


@transaction.atomic
def undo_client_answer(*, link: ClientLink, kind: str, now: datetime) -> bool:
    """Take a decision back; False if there is none. Raises `ClientPageError` where a person has
    gone on with it already."""
    _row, there = open_link(link, Kind(kind))
    if there is None or kind not in DECISIONS:
        return False
    if has_been_acted_on(there):
        raise ClientPageError(
            _("We have answered this already. Please answer our offer, or phone us.")
        )
    take_answer_back(there, now)
    return True


def take_back_decisions(link: ClientLink, now: datetime) -> None:
    """Those that nobody has gone on with; an offer that was sent is answered on its own page."""
    for answer in link.answers.live().filter(kind__in=DECISIONS):
        if not has_been_acted_on(answer):
            take_answer_back(answer, now)


def has_been_acted_on(answer: ClientAnswer) -> bool:
    """Whether a person has touched what was drafted."""
    offers = Offer.objects.filter(pk__in=answer.given.get("offers", []))
    by_people = OfferEvent.objects.filter(offer__in=offers, by__isnull=False)
    return by_people.exists() or offers.exclude(state=Offer.State.DRAFT).exists()


def take_answer_back(answer: ClientAnswer, now: datetime) -> None:
    """Undo what followed."""
    for offer in Offer.objects.filter(pk__in=answer.given.get("offers", [])):
        withdraw_offer(offer=offer, why=TAKEN_BACK, by=None, now=now)
    stops = Stop.objects.filter(job__in=answer.given.get("stopped", []), by=None, at=answer.at)
    stops.delete()
    answer.undone_at = now
    answer.save(update_fields=["undone_at"])
    ToDo.objects.open().filter(key=to_do_key(answer)).update(done_at=now)


@transaction.atomic
def take_over_details(*, answer: ClientAnswer, is_accepted: bool, by: User, now: datetime) -> bool:
    """Put proposed details into the book, or leave them; False if somebody had decided before.

    Former addresses stay beside the new ones. Raises `EmailError` and `PhoneError`.
    """
    row = ClientAnswer.objects.select_for_update(of=("self",)).get(pk=answer.pk)
    if row.kind != Kind.DETAILS or row.decided_at:
        return False
    if is_accepted:
        client = Client.objects.select_for_update().get(pk=row.link.message.client_id)
        write_details(client, row.given, now=now, by=by)
    row.decided_at = now
    row.decided_by = by
    row.is_taken_over = is_accepted
    row.save(update_fields=["decided_at", "decided_by", "is_taken_over"])
    ToDo.objects.open().filter(key=to_do_key(row)).update(done_at=now, done_by=by)
    return True


def write_details(client: Client, given: Mapping[str, str], *, now: datetime, by: User) -> None:
    country = Business.objects.get().country
    client.name = given.get("name", client.name)
    if given.get("street"):
        for name in POSTAL_FIELDS:
            setattr(client, f"postal_{name}", given.get(name, ""))
    client.save()
    contacts = [
        ContactInput(kind, given[name], country, is_preferred=True)
        for name, kind in CONTACT_KINDS.items()
        if given.get(name)
    ]
    if contacts:
        save_contact_points(client=client, contacts=contacts, by=by, now=now)


def open_link(link: ClientLink, kind: Kind) -> tuple[ClientLink, ClientAnswer | None]:
    """The link locked, and its newest answer of this kind: a second press waits here and finds the
    first."""
    rows = ClientLink.objects.select_for_update(of=("self",)).select_related("message__client")
    row = rows.get(pk=link.pk)
    return row, row.answers.live().filter(kind=kind).order_by("-at", "-pk").first()


def keep_answer(
    link: ClientLink, kind: Kind, given: Mapping[str, object], now: datetime
) -> ClientAnswer:
    if link.answers.count() >= MAX_ANSWERS:
        raise ClientPageError(_("You have told us a lot by this page. Please phone us instead."))
    return ClientAnswer.objects.create(link=link, kind=kind, given=dict(given), at=now)


def to_do_key(answer: ClientAnswer) -> str:
    return f"client-page/{answer.pk}"


def add_answer_to_do(answer: ClientAnswer, words: str, url: str, now: datetime) -> None:
    """Put it before a person."""
    matter = ToDo(
        kind=ToDo.Kind.ANSWER,
        key=to_do_key(answer),
        client=answer.link.message.client,
        message=answer.link.message,
        words=" ".join(words.split()),
        url=url,
    )
    add_to_do(matter=matter, now=now)
