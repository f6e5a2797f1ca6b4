"""Paper: the sizes that countries print on, and the tags of our PDFs."""
