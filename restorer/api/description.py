"""What the library's description of the API lacks: problem details, and what else may be
answered."""

from typing import Any

from restorer.api.problems import CONTENT_TYPE, ProblemOut

COMMON_ANSWERS = {
    "400": "The request cannot be read.",
    "401": "No token, or none that is in force.",
    "403": "The token may not do this.",
    "404": "There is no such row or address.",
    "422": "Fields that cannot be taken, each named.",
    "429": "Too many wrong tokens from this network.",
    "503": "Too much is being asked; Retry-After says when to try again.",
}
CHALLENGED = {"401", "403"}


def described(schema: Any) -> Any:
    """The same description, with what may be answered beside success."""
    schema["components"]["schemas"] |= problem_schemas()
    for methods in schema["paths"].values():
        for operation in methods.values():
            for status, words in COMMON_ANSWERS.items():
                operation["responses"].setdefault(status, problem_answer(status, words))
    return schema


def problem_schemas() -> dict[str, Any]:
    found = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
    return {**found.pop("$defs"), "ProblemOut": found}


def problem_answer(status: str, words: str) -> dict[str, Any]:
    content = {CONTENT_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemOut"}}}
    answer: dict[str, Any] = {"description": words, "content": content}
    if status in CHALLENGED:
        answer["headers"] = {
            "WWW-Authenticate": {"schema": {"type": "string"}, "description": "RFC 6750, 3."}
        }
    return answer
