"""Paper: the sizes that countries print on, and the tags of our PDFs."""

from clients.printing.paper_sizes import paper_size

__all__ = ["paper_size"]
