"""The book for programs: JSON under /api/v1/, described by OpenAPI 3.1 (docs/api.md)."""

from restorer.api.addresses import other_urls, program_urls
from restorer.api.forgetting import forget_answers_about, forget_old_answers
from restorer.api.problems import is_of_api, problem_response
from restorer.api.tokens import TokenTakenError, make_api_token, revoke_api_token

__all__ = [
    "TokenTakenError",
    "forget_answers_about",
    "forget_old_answers",
    "is_of_api",
    "make_api_token",
    "other_urls",
    "problem_response",
    "program_urls",
    "revoke_api_token",
]
