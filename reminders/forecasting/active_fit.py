"""Which belief forecasts rest on: the fit in use, or the published priors while there is none."""

from functools import lru_cache

from reminders import forecast
from reminders.models import ModelFit


def active_posterior() -> forecast.Posterior:
    """What forecasts rest on now; one small query, the parameters of a fit are read once a
    process."""
    row = ModelFit.objects.filter(is_in_use=True).values_list("pk", "version").first()
    return load_posterior(*row) if row else forecast.PUBLISHED_PRIOR


@lru_cache(maxsize=2)
def load_posterior(pk: int, version: str) -> forecast.Posterior:
    """The belief of one fit; a fit made before the core learned of new factors no longer says
    anything."""
    parameters = ModelFit.objects.values_list("parameters", flat=True).get(pk=pk, version=version)
    found = forecast.Fit.from_dict(parameters).posterior
    return found if found.names == forecast.PUBLISHED_PRIOR.names else forecast.PUBLISHED_PRIOR
