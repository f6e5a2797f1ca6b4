"""What happens here or in an app above, and what apps further up do then, in the same transaction.

Whoever changes something sends the event inside the transaction of the change and hands `now` on.
A receiver that fails undoes the change: `send`, never `send_robust`. Within one app the function is
called directly. The receivers: jobs/actions/offer_withdrawal.py and reminders/actions.py.
"""

from django.dispatch import Signal

# Decks, the place they lie at, their jobs or what was found on them have changed.
# deck_ids: Collection[int], now: datetime
decks_changed = Signal()

# Work on decks was booked (is_wanted) or declined by the client; the words say which and when.
# deck_ids: Collection[int], is_wanted: bool, words: str, now: datetime
work_decided = Signal()

# Clients asked to hear no more, or were archived; the words say which.
# client_ids: Collection[int], words: str, now: datetime
clients_left = Signal()
