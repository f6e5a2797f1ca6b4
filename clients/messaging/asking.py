"""The words by which somebody is asked whether we may write: what for, by which way, who we are
and where, and that it can be taken back.

Canada wants the purpose, the name and the mailing address of who asks, a telephone number, e-mail
or web address, and a word that consent can be withdrawn (S.C. 2010 c. 23, s. 10(1);
SOR/2012-36, s. 4). It is said everywhere.
"""

from django.utils.translation import gettext

from clients import display
from clients.models import Business, Channel, traits_of


def consent_wording(business: Business, channel: Channel, address: str) -> str:
    """The whole text that is agreed to, in the language in force; `address` as it is shown."""
    agreed = str(traits_of(channel).consent_wording)
    return f"{agreed.format(business=business.name, address=address)} {identity_words(business)}"


def identity_words(business: Business) -> str:
    reach = ", ".join(
        filter(None, [display.format_phone(business.phone), business.email, business.website])
    )
    who = ", ".join(
        filter(None, [business.legal_name or business.name, business.postal_address, reach])
    )
    return gettext("Asked by {who}. I can take this back at any time.").format(who=who)
