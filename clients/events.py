"""What happens here or in an app above, and what apps further up do then, in the same transaction.

Whoever changes something sends the event inside the transaction of the change and hands `now` on.
A receiver that fails undoes the change: `send`, never `send_robust`. Within one app the function is
called directly. The receivers: clients/messaging/actions/staff_notices.py,
jobs/actions/offer_sending.py, offer_withdrawal.py and structure.py, reminders/actions.py,
reminders/care_plans/agreeing.py, restorer/api/forgetting.py, restorer/webhooks/announcing.py.
"""

from django.dispatch import Signal

# Decks, the place they lie at, their jobs or what was found on them have changed.
# deck_ids: Collection[int], now: datetime
decks_changed = Signal()

# A finished job was written down by a person or a program; a list that is brought in does not say
# so. job_id: int, now: datetime
job_logged = Signal()

# A client accepted or declined an offer. offer_id: int, now: datetime
offer_answered = Signal()

# Work on decks was booked (is_wanted) or declined by the client; the words say which and when.
# deck_ids: Collection[int], is_wanted: bool, words: str, now: datetime
work_decided = Signal()

# Somebody takes messages back before they have left. A receiver locks what it will change and gives
# back a function that takes the numbers of those that were stopped, and undoes what was noted.
# messages: Sequence[Message], by: User, now: datetime
messages_taken_back = Signal()

# Clients asked to hear no more, or were archived; the words say which.
# client_ids: Collection[int], words: str, now: datetime
clients_left = Signal()

# Decks belong to another client from now on; the words say so. What the former owner was to hear
# about them is not sent, and what they said about reminders does not bind the new one.
# deck_ids: Collection[int], words: str, now: datetime
decks_handed_over = Signal()

# A house is sold: what was agreed with the former owner about the property as a whole ends.
# site_id: int, now: datetime
house_sold = Signal()

# People are erased: what they told us in words of their own goes; the rest of the book is walked.
# client_ids: Collection[int], named_by: re.Pattern[str]
clients_erased = Signal()
