"""The actions of the jobs app, each one transaction."""

from jobs.actions.grade_examples import (
    GradeExampleError,
    remove_grade_example,
    set_grade_example,
)
from jobs.actions.jobs import (
    add_photos,
    change_job,
    describe_photo,
    log_job,
    remove_job,
    remove_photo,
)
from jobs.actions.kept_files import (
    FilesInput,
    keep_with_deck,
    keep_with_product,
    remove_document,
    rename_document,
)
from jobs.actions.new_decks import add_client_and_deck
from jobs.actions.products import add_product, change_batch, change_product
from jobs.actions.shelf import add_tin, change_pack, measure_tin, save_pack
from jobs.actions.visits import change_visit, record_visit

__all__ = [
    "FilesInput",
    "GradeExampleError",
    "add_client_and_deck",
    "add_photos",
    "add_product",
    "add_tin",
    "change_batch",
    "change_job",
    "change_pack",
    "change_product",
    "change_visit",
    "describe_photo",
    "keep_with_deck",
    "keep_with_product",
    "log_job",
    "measure_tin",
    "record_visit",
    "remove_document",
    "remove_grade_example",
    "remove_job",
    "remove_photo",
    "rename_document",
    "save_pack",
    "set_grade_example",
]
