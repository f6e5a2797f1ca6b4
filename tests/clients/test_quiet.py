"""Quiet times: never a ring outside the hours, at the clock of the property, across changes of
clocks and holidays."""

import os
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from importlib.resources import files
from time import localtime, tzset
from zoneinfo import ZoneInfo

import pytest
from dateutil.easter import easter
from hypothesis import example, given, settings
from hypothesis import strategies as st

from clients.messaging import quiet
from clients.messaging.models import SendingRules
from clients.messaging.outbox.permission import postponed_until
from clients.messaging.quiet import Locality, NeverOpenError, first_allowed_moment
from clients.places.public_holidays import HolidayPlace, public_holidays, region_code
from tests.factories import MessageFactory, PropertyFactory

ZONES = """
    America/Halifax America/St_Johns America/Vancouver Europe/London Europe/Lisbon
    Australia/Lord_Howe Pacific/Chatham
    Pacific/Auckland Pacific/Apia Africa/Casablanca Asia/Kathmandu America/Havana
    America/Santiago Pacific/Kiritimati
""".split()
STRICT = {
    "mon_fri": ["09:00", "20:00"],
    "sat": ["09:00", "17:00"],
    "sun_and_public_holidays": "none",
}


def sending(quiet_from="20:00", quiet_until="09:00", **others):
    return SendingRules(
        quiet_from=time.fromisoformat(quiet_from),
        quiet_until=time.fromisoformat(quiet_until),
        **others,
    )


def asked(
    moment,
    *,
    zone="America/Halifax",
    country="CA",
    region="Nova Scotia",
    rules=None,
    law=None,
):
    found = first_allowed_moment(
        moment,
        place=Locality(ZoneInfo(zone), country, region),
        rules=rules or sending(),
        law_window=law,
    )
    return found.astimezone(ZoneInfo(zone))


def local(text, zone="America/Halifax"):
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))


@pytest.mark.parametrize(("channel", "waits"), [("email", 0), ("letter", 0), ("text", 1)])
def test_paper_and_mail_disturb_nobody(channel, waits, business):
    midnight = local("2027-07-04 00:30")
    message = MessageFactory(channel=channel)

    assert len(postponed_until(business, [message], now=midnight)) == waits


@pytest.mark.parametrize(
    ("moment", "expected", "why"),
    [
        ("2027-03-02 10:15", "2027-03-02 10:15", "a Tuesday morning is open"),
        ("2027-03-02 07:59", "2027-03-02 09:00", "before nine waits for nine"),
        ("2027-03-02 19:59", "2027-03-02 19:59", "the last minute is open"),
        ("2027-03-02 20:00", "2027-03-03 09:00", "the evening waits for the morning"),
        ("2027-03-06 21:00", "2027-03-08 09:00", "Saturday evening waits for Monday"),
        # Statutes of Canada, Holidays Act (R.S.C. 1985, c. H-5): Canada Day is 1 July.
        ("2027-07-01 12:00", "2027-07-02 09:00", "Canada Day is a public holiday"),
        # Government of Nova Scotia: Heritage Day is the third Monday in February.
        ("2027-02-15 12:00", "2027-02-16 09:00", "Heritage Day is one in Nova Scotia"),
        # Easter 2027 is 28 March (dateutil.easter), Good Friday the 26th.
        (
            "2027-03-25 20:30",
            "2027-03-27 09:00",
            "Good Friday is skipped, the Saturday after is open",
        ),
    ],
)
def test_a_text_waits_for_open_hours_at_the_property(moment, expected, why):
    assert asked(local(moment)) == local(expected), why


def test_a_holiday_of_one_province_is_a_working_day_in_another():
    monday = local("2027-02-15 12:00")

    assert asked(monday, region="Newfoundland and Labrador") == monday
    assert asked(monday, region="") == monday, (
        "an unknown region knows the holidays of the whole country only"
    )
    assert asked(monday, region="Atlantis") == monday


@pytest.mark.parametrize(
    ("state", "expected"),
    [("Florida", "2027-03-02 18:30"), ("Rhode Island", "2027-03-03 09:00")],
)
def test_a_text_keeps_the_hours_of_the_state_where_the_deck_is(business, state, expected):
    evening = local("2027-03-02 18:30", "America/New_York")
    message = MessageFactory(channel="text")
    PropertyFactory(client=message.client, country="US", region=state, time_zone="America/New_York")

    waits = postponed_until(business, [message], now=evening)

    assert waits.get(message.pk, evening) == local(expected, "America/New_York")


def test_a_country_without_a_calendar_still_keeps_sundays_and_nights():
    assert public_holidays(HolidayPlace("XX"), 2027) == {}
    assert asked(local("2027-03-07 12:00"), country="XX") == local("2027-03-08 09:00")


@pytest.mark.parametrize(
    ("country", "region", "code"),
    [
        ("CA", "Québec", "QC"),
        ("CA", "quebec", "QC"),
        ("CA", "N.S.", "NS"),
        ("CA", "Nouvelle-Ecosse", "NS"),
        ("NZ", "Nelson", "NSN"),
        ("AU", "New  South Wales", "NSW"),
        ("US", "ME", "ME"),
        ("GB", "Scotland", "SCT"),
        ("IE", "Kerry", None),
        ("CA", "Narnia", None),
        ("CA", "", None),
        ("XX", "Anywhere", None),
    ],
)
def test_regions_are_known_by_their_names_and_codes(country, region, code):
    """Codes: ISO 3166-2."""
    assert region_code(HolidayPlace(country, region)) == code


def test_good_friday_is_two_days_before_the_easter_of_the_gregorian_calendar():
    """Easter by dateutil.easter, method 3 (the western churches)."""
    for year in range(2025, 2060):
        assert easter(year) - timedelta(days=2) in public_holidays(
            HolidayPlace("CA", "Nova Scotia"), year
        )


@pytest.mark.parametrize(
    ("zone", "moment", "rules", "expected"),
    [
        # 2027-03-14 02:00 the clocks of Halifax go on to 03:00 (IANA tz, rule Canada): 02:30 does
        # not exist.
        (
            "America/Halifax",
            "2027-03-14 00:30",
            {"quiet_from": "23:00", "quiet_until": "02:30"},
            "2027-03-14 03:30",
        ),
        # 2027-11-07 02:00 they go back to 01:00: 01:30 comes twice, and only after the second is it
        # surely over.
        (
            "America/Halifax",
            "2027-11-07 00:10",
            {"quiet_from": "23:00", "quiet_until": "01:30"},
            "2027-11-07 01:30",
        ),
        # Lord Howe Island moves by half an hour, on 2027-10-03 from 02:00 to 02:30.
        (
            "Australia/Lord_Howe",
            "2027-10-03 00:30",
            {"quiet_from": "23:00", "quiet_until": "02:15"},
            "2027-10-03 02:45",
        ),
    ],
)
def test_where_the_clock_skips_or_repeats_an_hour_it_is_quiet_until_surely_over(
    zone, moment, rules, expected
):
    always = sending(on_sundays=True, on_holidays=True, **rules)

    found = asked(local(moment, zone), zone=zone, country="XX", rules=always)

    wanted = local(expected, zone).replace(fold=1)
    assert found.astimezone(UTC) == wanted.astimezone(UTC)


def test_samoa_had_no_30_december_2011():
    """IANA tz, zone Pacific/Apia: it crossed the date line."""
    always = sending(on_sundays=True, on_holidays=True)

    found = asked(
        local("2011-12-29 21:00", "Pacific/Apia"), zone="Pacific/Apia", country="WS", rules=always
    )

    assert found == local("2011-12-31 09:00", "Pacific/Apia")


def test_the_law_and_the_owner_must_both_allow_it():
    lax = sending("22:00", "06:00", on_sundays=True, on_holidays=True)
    # 47 CFR 64.1200 (c)(1): not before 8 a.m. or after 9 p.m. local time at the called party's
    # location.
    american = {"from": "08:00", "to": "21:00"}

    assert asked(local("2027-03-02 06:30"), rules=lax, law=american) == local("2027-03-02 08:00")
    assert asked(local("2027-03-02 21:00"), rules=lax, law=american) == local("2027-03-03 08:00")
    assert asked(local("2027-03-06 17:00"), rules=lax, law=STRICT) == local("2027-03-08 09:00")
    assert asked(local("2027-07-01 10:00"), rules=lax, law=STRICT) == local("2027-07-02 09:00")
    assert asked(local("2027-03-02 06:30"), rules=sending("20:00", "10:00"), law=american) == local(
        "2027-03-02 10:00"
    )


def test_rules_that_leave_no_hour_are_told_and_not_waited_for():
    with pytest.raises(NeverOpenError):
        asked(local("2027-03-02 12:00"), rules=sending("08:00", "21:00"), law=STRICT)


hours = st.times().map(lambda each: each.replace(second=0, microsecond=0))
moments = st.datetimes(datetime(2010, 1, 1), datetime(2037, 1, 1)).map(
    lambda each: each.replace(tzinfo=UTC)
)
laws = st.sampled_from([None, {"from": "08:00", "to": "21:00"}, STRICT])


@settings(max_examples=400)
@given(moments, st.sampled_from(ZONES), hours, hours, st.booleans(), st.booleans(), laws)
@example(
    datetime(2027, 11, 7, 4, 45, tzinfo=UTC),
    "America/Halifax",
    time(23),
    time(1, 30),
    True,
    True,
    None,
)
@example(
    datetime(2027, 3, 14, 5, 45, tzinfo=UTC),
    "America/Halifax",
    time(2, 30),
    time(2, 15),
    True,
    True,
    None,
)
def test_the_answer_is_open_by_another_clock_and_nothing_earlier_was(
    moment, zone, quiet_from, quiet_until, sundays, holidays, law
):
    """The clock of the place by the C library, the rule written again:
    an instant is open if its wall time is."""
    rules = SendingRules(
        quiet_from=quiet_from, quiet_until=quiet_until, on_sundays=sundays, on_holidays=holidays
    )

    def is_open(instant):
        wall = datetime(*localtime(instant.timestamp())[:6], instant.microsecond)
        return is_open_on_the_clock(wall, rules, law)

    with clock_of_the_c_library(zone):
        look_at_the_answer(moment, zone, rules, law, is_open)


@contextmanager
def clock_of_the_c_library(zone):
    """A reader of its own for the same file: another arithmetic, the one database."""
    before = os.environ.get("TZ", "")
    try:
        os.environ["TZ"] = f":{files('tzdata.zoneinfo').joinpath(zone)}"
        tzset()
        yield
    finally:
        os.environ["TZ"] = before
        tzset()


def look_at_the_answer(moment, zone, rules, law, is_open):
    try:
        found = first_allowed_moment(
            moment,
            place=Locality(ZoneInfo(zone), "NZ", ""),
            rules=rules,
            law_window=law,
        )
    except NeverOpenError:
        steps = (moment + timedelta(minutes=30 * n) for n in range(2 * 24 * 8))
        assert sum(map(is_open, steps)) <= 14, (
            "at most half an hour a day that a step of half an hour may hit"
        )
        return

    assert found >= moment
    assert is_open(found)
    again = first_allowed_moment(
        found,
        place=Locality(ZoneInfo(zone), "NZ", ""),
        rules=rules,
        law_window=law,
    )
    assert again == found
    earlier = [
        moment + timedelta(minutes=7 * n)
        for n in range(int((found - moment).total_seconds() // 420))
    ]
    assert all(not is_open(each) or is_near_a_change(each, zone) for each in earlier)


def is_open_on_the_clock(wall, rules, law):
    is_holiday = wall.date() in public_holidays(HolidayPlace("NZ"), wall.year)
    if (wall.weekday() == 6 and not rules.on_sundays) or (is_holiday and not rules.on_holidays):
        return False
    at = wall.time()
    start = rules.quiet_from
    end = rules.quiet_until
    is_quiet = start <= at < end if start <= end else at >= start or at < end
    return not is_quiet and is_lawful(wall, is_holiday, law)


def is_lawful(wall, is_holiday, law):
    if law is None:
        return True
    if "from" in law:
        return "08:00" <= f"{wall:%H:%M}" < "21:00"
    closing = (
        "none" if wall.weekday() == 6 or is_holiday else "17:00" if wall.weekday() == 5 else "20:00"
    )
    return closing != "none" and "09:00" <= f"{wall:%H:%M}" < closing


def is_near_a_change(instant, zone):
    """A change of clocks within a day: there it may stay quiet for up to the hour that is skipped
    or repeated."""
    around = [
        (instant + timedelta(hours=h)).astimezone(ZoneInfo(zone)).utcoffset() for h in (-25, 0, 25)
    ]
    return len(set(around)) > 1


def test_hours_of_a_day_without_quiet_times_are_all_of_it():
    day = date(2027, 3, 2)

    (hours,) = quiet.open_hours(
        day, is_holiday=False, rules=sending("09:00", "09:00"), law_window=None
    )

    assert hours[1] - hours[0] == timedelta(days=1)
