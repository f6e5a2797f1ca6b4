"""Addresses as the post of each country wants them written; no rows, no clock.

From memory: Canada Post (two letters, two spaces before the postal code), USPS Publication 28,
Australia Post, Royal Mail, and the Universal Postal Union's addressing pages.
"""

from collections.abc import Mapping

# Postcode before the town.
POSTCODE_FIRST = set(
    "AT BE CH CZ DE DK ES FI FR HU IS IT LI LU NL NO PL PT SE SK SI HR EE LT GR IL TR BR MX".split()
)
POSTCODE_ON_OWN_LINE = {"GB", "IE"}
BEFORE_POSTCODE = {"CA": "  "}  # else one space
REGION_LETTERS: Mapping[str, Mapping[str, str]] = {
    "CA": {
        "alberta": "AB",
        "british columbia": "BC",
        "manitoba": "MB",
        "new brunswick": "NB",
        "newfoundland and labrador": "NL",
        "nova scotia": "NS",
        "northwest territories": "NT",
        "nunavut": "NU",
        "ontario": "ON",
        "prince edward island": "PE",
        "quebec": "QC",
        "québec": "QC",
        "saskatchewan": "SK",
        "yukon": "YT",
    },
    "AU": {
        "australian capital territory": "ACT",
        "new south wales": "NSW",
        "northern territory": "NT",
        "queensland": "QLD",
        "south australia": "SA",
        "tasmania": "TAS",
        "victoria": "VIC",
        "western australia": "WA",
    },
    "US": dict(
        pair.split(":")
        for pair in (
            "alabama:AL,alaska:AK,arizona:AZ,arkansas:AR,california:CA,colorado:CO,connecticut:CT,"
            "delaware:DE,district of columbia:DC,florida:FL,georgia:GA,hawaii:HI,idaho:ID,"
            "illinois:IL,indiana:IN,iowa:IA,kansas:KS,kentucky:KY,louisiana:LA,maine:ME,"
            "maryland:MD,massachusetts:MA,michigan:MI,minnesota:MN,mississippi:MS,missouri:MO,"
            "montana:MT,nebraska:NE,nevada:NV,new hampshire:NH,new jersey:NJ,new mexico:NM,"
            "new york:NY,north carolina:NC,north dakota:ND,ohio:OH,oklahoma:OK,oregon:OR,"
            "pennsylvania:PA,rhode island:RI,south carolina:SC,south dakota:SD,tennessee:TN,"
            "texas:TX,utah:UT,vermont:VT,virginia:VA,washington:WA,west virginia:WV,wisconsin:WI,"
            "wyoming:WY"
        ).split(",")
    ),
}


def region_as_posted(region: str, country: str) -> str:
    """“NS” for Nova Scotia; a region without such letters as it is."""
    return REGION_LETTERS.get(country, {}).get(region.strip().casefold(), region.strip())


def town_lines(*, town: str, region: str, postcode: str, country: str) -> list[str]:
    """What stands under the street: “Lunenburg NS  B0J 2C0”."""
    region = region_as_posted(region, country)
    if country in POSTCODE_ON_OWN_LINE:
        return list(filter(None, [town, region, postcode]))
    if country in POSTCODE_FIRST:
        return list(filter(None, [" ".join(filter(None, [postcode, town]))]))
    comma = ", " if country == "US" else " "
    place = comma.join(filter(None, [town, region]))
    whole = BEFORE_POSTCODE.get(country, " ").join(filter(None, [place, postcode]))
    return [whole] if whole else []
