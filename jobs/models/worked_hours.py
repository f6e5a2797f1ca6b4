"""How long each person was at a job."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q, Sum
from django.db.models.functions import TruncMonth

from jobs.models.job import Job

MAX_HOURS = 200  # of one person at one job


class WorkedHoursQuerySet(models.QuerySet["WorkedHours"]):
    def worked_by_month(self, first: date, until: date) -> dict[date, Decimal]:
        """Of jobs finished from a day on and before another; those not known to a month are left
        out."""
        jobs = Job.objects.done_between(first, until).known_to_a_month()
        months = self.filter(job__in=jobs).order_by()
        found = months.values_list(TruncMonth("job__finished_on")).annotate(worked=Sum("hours"))
        return dict(found)


class WorkedHours(models.Model):
    """The hours of one person at one job."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="hours_worked")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="hours_worked"
    )
    hours = models.DecimalField(max_digits=5, decimal_places=2)

    objects = WorkedHoursQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "worked hours"
        ordering = ["job_id", "person_id"]
        constraints = [
            models.UniqueConstraint(fields=["job", "person"], name="worked_hours_once_a_person"),
            models.CheckConstraint(
                name="worked_hours_positive", condition=Q(hours__gt=0, hours__lte=MAX_HOURS)
            ),
        ]

    @classmethod
    def of_jobs(cls) -> "models.Prefetch[Any]":
        """For the jobs of a query, with the people, in one query more."""
        return models.Prefetch("hours_worked", cls.objects.select_related("person"))

    def __str__(self) -> str:
        return f"{self.person}, {self.hours} h"
