"""How the lines of an offer are worded."""

from decimal import Decimal

TASKS = {
    "set_up": "Set up and protect surrounds",
    "clean": "Clean",
    "strip": "Strip",
    "brighten": "Brighten",
    "sand": "Light sand",
    "coat": "Seal",
    "rails": "Rails",
    "stairs": "Stairs",
    "hourly": "Other work by the hour",
}
PER = {"m2": "m²", "m": "m", "tread": "tread", "hour": "hour", "job": "visit"}


def task_words(task: str, times: int) -> str:
    """“Seal, 2 coats”, “Strip, 1 full application”."""
    name = TASKS.get(task, task)
    what = {"coat": "coat", "strip": "full application"}.get(task)
    if what is None:
        return name
    return f"{name}, {times} {what}{'' if times == 1 else 's'}"


def plain(value: Decimal) -> str:
    """A number without trailing zeros: 15 from 15.000."""
    return f"{value.normalize():f}"
