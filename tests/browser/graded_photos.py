"""Photographs that stand beside grades."""

from jobs.actions import set_grade_example
from tests.factories import JobFactory, PhotoFactory, VisitFactory


def give_examples(*grades: int) -> None:
    """Of each grade one, all in all; of decks that nothing else is about."""
    for grade in grades:
        visit = VisitFactory(overall=grade)
        job = JobFactory(deck=visit.deck, visit=visit)
        set_grade_example(photo=PhotoFactory(deck=visit.deck, job=job), kind="overall")
