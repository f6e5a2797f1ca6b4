"""What a column of a list can be, and the names that people give such columns."""

from dataclasses import dataclass


@dataclass(frozen=True)
class ListField:
    """A thing that a list may tell: its name here, in words, and the heads it goes by."""

    name: str
    words: str
    heads: tuple[str, ...]
    is_repeatable: bool = False  # several columns may tell it


# The heads at the end are French: many lists in Canada are kept so.
LIST_FIELDS = [
    ListField(
        "client",
        "Client",
        (
            "client",
            "name",
            "customer",
            "client name",
            "customer name",
            *("cust", "cust name", "homeowner", "home owner"),
            "full name",
            "owner",
            "who",
            *("nom", "nom du client"),
        ),
    ),
    ListField(
        "first_name", "First name", ("first name", "first", "given name", "forename", "prénom")
    ),
    ListField(
        "last_name", "Last name", ("last name", "last", "surname", "family name", "nom de famille")
    ),
    ListField(
        "company",
        "Company",
        (
            "company",
            "business",
            "organisation",
            "organization",
            "organization name",
            "firm",
            "entreprise",
        ),
    ),
    ListField(
        "phone",
        "Phone",
        (
            "phone",
            "telephone",
            "tel",
            "phone number",
            "phone no",
            "home phone",
            "contact",
            "number",
            *("téléphone", "tél"),
        ),
        is_repeatable=True,
    ),
    ListField(
        "mobile",
        "Mobile phone",
        ("mobile", "cell", "cell phone", "mobile phone", "cellular", *("cellulaire", "portable")),
    ),
    ListField(
        "email",
        "E-mail",
        ("email", "e mail", "email address", "mail", "courriel", "e-mail address"),
        is_repeatable=True,
    ),
    ListField(
        "address",
        "Whole address",
        (
            "address",
            "full address",
            "site address",
            "property",
            "site",
            "where",
            "location",
            "adresse",
        ),
    ),
    ListField(
        "house_number",
        "House number",
        (
            *("civic", "civic #", "civic no", "civic number", "house", "house no", "house number"),
            *("street no", "street number", "house #", "street #"),
        ),
    ),
    ListField(
        "street",
        "Street",
        ("street", "street address", "address line 1", "road", "street name", "rue"),
    ),
    ListField(
        "town",
        "Town",
        (
            "town",
            "city",
            "place",
            "community",
            "suburb",
            "area town",
            *("ville", "village", "localité"),
        ),
    ),
    ListField(
        "region", "Province, state or region", ("region", "province", "state", "prov", "county")
    ),
    ListField(
        "postcode",
        "Postal code",
        ("postcode", "postal code", "zip", "zip code", "post code", "code postal"),
    ),
    ListField("country", "Country", ("country",)),
    ListField("latitude", "Latitude", ("latitude", "lat")),
    ListField("longitude", "Longitude", ("longitude", "lon", "lng")),
    ListField(
        "deck", "Which deck", ("deck", "which deck", "deck name", "surface", *("terrasse", "patio"))
    ),
    ListField(
        "area",
        "Size",
        (
            *("size", "deck size", "area", "sq ft", "sqft", "square feet", "square footage", "m2"),
            *(
                "dimensions",
                "sq m",
                "area m2",
                "area ft2",
                "size sq ft",
                "size m2",
                "footage",
                "sf",
            ),
            *("grandeur", "superficie", "dimension", "pi2"),
        ),
    ),
    ListField(
        "species",
        "Wood",
        (
            "timber",
            "wood",
            "species",
            "wood type",
            "material",
            "lumber",
            "boards",
            *("bois", "essence"),
        ),
    ),
    ListField("texture", "Surface of the boards", ("texture",)),
    ListField("traffic", "How much it is walked on", ("traffic",)),
    ListField("salt", "Sea air", ("salt", "sea air")),
    ListField("roof_percent", "Per cent under a roof", ("roof percent",)),
    ListField("shade_percent", "Per cent in shade", ("shade percent",)),
    ListField("deck_notes", "Notes about the deck", ("deck notes", "access", "access notes")),
    ListField(
        "done",
        "When it was done",
        (
            *("date", "last done", "done", "when", "job date", "date done", "last coat", "year"),
            *("last coated", "last service", "last job", "finished", "completed", "invoice date"),
            *("last oiled", "last stained", "last sealed", "last stripped", "last cleaned"),
            *("last time", "last worked", "last finished", "date oiled", "date stained"),
            *("date completed", "last visit", "last treated", "previous", "date of work", "yr"),
            *(
                "dernière couche",
                "dernier traitement",
                "fait le",
                "dernière fois",
                "année",
                "date des travaux",
            ),
        ),
        is_repeatable=True,
    ),
    ListField(
        "kind",
        "What was done",
        (
            "job",
            "work",
            "what",
            "job kind",
            "job type",
            "service",
            "work done",
            "type of work",
            "type",
            *("travail", "travaux", "ouvrage"),
        ),
    ),
    ListField(
        "product",
        "Product",
        (
            *("product", "product used", "finish", "stain", "oil", "what used", "used", "sealer"),
            *(
                "coating",
                "stain used",
                "product colour",
                "finish used",
                "stuff used",
                "what we used",
            ),
            *("produit", "teinture", "huile"),
        ),
    ),
    ListField("maker", "Maker of the product", ("maker", "brand", "manufacturer")),
    ListField("product_kind", "Kind of product", ("product kind",)),
    ListField("finish_class", "Kind of finish", ("finish class",)),
    ListField("colour", "Colour", ("colour", "color", "shade", "tint", *("couleur", "teinte"))),
    ListField("batch", "Batch", ("batch", "lot", "batch no", "batch number", "lot number")),
    ListField("coats", "Coats", ("coats", "no of coats", "number of coats", "cts", "couches")),
    ListField(
        "litres",
        "Amount of product",
        ("litres", "liters", "gallons", "gal", "amount used", "quantity used", "cans"),
    ),
    ListField("grade", "Grade as found", ("grade", "condition grade")),
    ListField("visit_reason", "Why the visit happened", ("visit reason",)),
    ListField(
        "crew", "Who did the work", ("crew", "done by", "worker", "who did it", "team", "tech")
    ),
    ListField(
        "price",
        "Price",
        (
            "price",
            "amount",
            "charged",
            "cost",
            "total",
            "paid",
            "invoiced",
            "line total",
            "fee",
            "$",
            *("prix", "montant"),
        ),
    ),
    ListField("currency", "Currency", ("currency",)),
    ListField(
        "invoice",
        "Invoice number",
        (
            "invoice",
            "invoice no",
            "invoice number",
            "num",
            "inv",
            "inv no",
            "document no",
            "doc no",
            *("facture", "no facture"),
        ),
    ),
    ListField(
        "item",
        "Line of an invoice",
        ("item", "description", "memo description", "line", "memo", "product service", "details"),
    ),
    ListField(
        "entry",
        "Kind of entry: invoice, estimate …",
        ("transaction type", "type of transaction", "txn type", "doc type", "document type"),
    ),
    ListField("quantity", "Quantity of a line", ("qty", "quantity", "hours", "units")),
    ListField(
        "notes",
        "Notes",
        (
            "notes",
            "note",
            "comments",
            "remarks",
            "comment",
            "history",
            "misc",
            "other",
            "info",
            *("remarques", "commentaires"),
        ),
        is_repeatable=True,
    ),
]
FIELDS_BY_NAME = {each.name: each for each in LIST_FIELDS}
# Heads of columns that nothing here is read from.
UNUSED_HEADS = (
    *(
        "next",
        "next due",
        "due",
        "next visit",
        "balance",
        "status",
        "id",
        "no",
        "tax",
        "hst",
        "gst",
    ),
    *("rate", "unit price", "terms", "account", "class", "due date", "paid date", "open balance"),
    *(
        "customer id",
        "reminded",
        "called",
        "sales price",
    ),
    *("tax amount", "next time", "line no", "row", "label", "labels", "name prefix", "name suffix"),
    *("middle name", "nickname", "file as", "birthday", "photo", "phonetic first name"),
    *("phonetic middle name", "phonetic last name", "organization title", "department"),
    *("label of phone", "label of e mail", "label of address"),
)
