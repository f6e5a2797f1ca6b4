"""What programs may write, by the actions of the pages."""

from datetime import date, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse

from clients.actions.properties import open_account
from clients.models import Deck
from clients.pages import business_of, business_today
from jobs import actions
from jobs.actions.jobs import JobError, NewJob
from jobs.models import Visit
from restorer.api import answers, filling, inputs, reading
from restorer.api.problems import Mistake, MistakesError
from restorer.api.reading import router
from restorer.api.repeating import IdempotencyKey, answer_once, form_key_of, token_of
from restorer.api.tokens import may_write

POINTER_OF_FIELD = {"deck": "/deck_id", "batch": "/coats"}


def found_deck(pk: int) -> Deck:
    """Raises `MistakesError`."""
    deck = Deck.objects.with_owner().filter(pk=pk).first()
    if deck is None:
        raise MistakesError([Mistake("/deck_id", f"There is no deck with the number {pk}.")])
    return deck


def refusal(error: JobError) -> MistakesError:
    """An action's refusal, named by the field of the body."""
    pointer = POINTER_OF_FIELD.get(error.field, f"/{error.field}")
    return MistakesError([Mistake(pointer, str(error))])


def deck_with_all(pk: int, *, today: date) -> Deck:
    row: Any = reading.deck_rows().prefetch_related("site__client__contact_points").get(pk=pk)
    return reading.with_coats_and_work([row], today=today)[0]


@router.post(
    "/clients",
    auth=may_write,
    response={201: answers.OpenedOut},
    url_name="clients",
    tags=["write"],
)
def add_client_with_deck(
    request: HttpRequest, body: inputs.ClientIn, key: IdempotencyKey
) -> HttpResponse:
    """A client with contact points, a property and a deck, all or nothing."""
    today = business_today(request)

    def write(now: datetime) -> answers.OpenedOut:
        new = filling.account_from_body(body, business=business_of(request), today=today)
        deck = open_account(new=new, by=token_of(request).made_by, now=now)
        return answers.OpenedOut.from_orm(deck_with_all(deck.pk, today=today))

    return answer_once(request, key, body, write)


@router.post(
    "/jobs",
    auth=may_write,
    response={201: answers.JobOut},
    url_name="jobs",
    tags=["write"],
)
def log_finished_job(request: HttpRequest, body: inputs.JobIn, key: IdempotencyKey) -> HttpResponse:
    """A finished job. It closes the booking that it was done for, and the forecast follows."""
    token = token_of(request)
    writer = filling.JobWriter(business_of(request), token.made_by, business_today(request))

    def write(now: datetime) -> answers.JobOut:
        deck = found_deck(body.deck_id)
        work = filling.work_from_body(body, deck, writer)
        new = NewJob(deck=deck, work=work, form_key=form_key_of(token, key))
        try:
            job, _ = actions.log_job(new=new, by=token.made_by, now=now)
        except JobError as error:
            raise refusal(error) from error
        return answers.JobOut.from_orm(reading.job_rows().get(pk=job.pk))

    return answer_once(request, key, body, write)


@router.post(
    "/checks",
    auth=may_write,
    response={201: answers.CheckOut},
    url_name="checks",
    tags=["write"],
)
def record_check(request: HttpRequest, body: inputs.CheckIn, key: IdempotencyKey) -> HttpResponse:
    """A check without work. The forecast follows."""

    def write(now: datetime) -> answers.CheckOut:
        deck = found_deck(body.deck_id)
        form = filling.check_from_body(body)
        return answers.CheckOut.from_orm(keep_check(request, deck, form, now))

    return answer_once(request, key, body, write)


def keep_check(request: HttpRequest, deck: Deck, form: Any, now: datetime) -> Visit:
    try:
        visit, _ = actions.record_visit(
            deck=deck,
            visited_on=form.cleaned_data["visited_on"],
            findings=form.findings(),
            by=token_of(request).made_by,
            now=now,
        )
    except JobError as error:
        raise refusal(error) from error
    return visit
