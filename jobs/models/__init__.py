"""The rows of the jobs app: products and batches, visits, jobs of work, coats and photographs."""

from jobs.models.job import CoatApplied, Job, Photo
from jobs.models.product import Batch, Product
from jobs.models.search import SearchEntry, SearchWord
from jobs.models.visit import Visit

__all__ = ["Batch", "CoatApplied", "Job", "Photo", "Product", "SearchEntry", "SearchWord", "Visit"]
