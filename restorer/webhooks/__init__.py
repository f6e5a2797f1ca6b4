"""Other programs are told of what happens in the book: noted with it, signed, posted, tried again
(docs/decisions/0052)."""

from restorer.webhooks.announcing import announce_due_decks, send_trial_post
from restorer.webhooks.posting import forget_old_posts, post_again, post_webhooks
from restorer.webhooks.signing import new_signing_secret, signed_headers

__all__ = [
    "announce_due_decks",
    "forget_old_posts",
    "new_signing_secret",
    "post_again",
    "post_webhooks",
    "send_trial_post",
    "signed_headers",
]
