"""What all builders have in common."""

from typing import Any

from auditlog.context import disable_auditlog
from factory.django import DjangoModelFactory


class RowFactory(DjangoModelFactory):
    """A row that was there before the test begins: of how it came there is no trail."""

    class Meta:
        abstract = True

    @classmethod
    def _create(cls, *words: Any, **values: Any) -> Any:
        with disable_auditlog():
            return super()._create(*words, **values)
