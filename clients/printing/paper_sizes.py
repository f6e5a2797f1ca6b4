"""The paper that a country puts in its printers."""

# Countries whose paper is US Letter: Unicode CLDR, supplemental data, paperSize (from memory); all
# others use A4.
US_LETTER_COUNTRIES = {
    "BZ",
    "CA",
    "CL",
    "CO",
    "CR",
    "GT",
    "MX",
    "NI",
    "PA",
    "PH",
    "PR",
    "SV",
    "US",
    "VE",
}


def paper_size(country: str) -> str:
    """The CSS name of the paper of a country (two letters)."""
    return "letter" if country in US_LETTER_COUNTRIES else "A4"
