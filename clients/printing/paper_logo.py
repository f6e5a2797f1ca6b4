"""The logo of the business on paper: the one file that our papers may ask for."""

from weasyprint.urls import URLFetcher, URLFetcherResponse

LOGO_URL = "logo:///"


class LogoFetcher(URLFetcher):
    """Hands out the logo at `logo:///`, and nothing else."""

    def __init__(self, logo: bytes) -> None:
        super().__init__(allowed_protocols=[], fail_on_errors=True)
        self.logo = logo

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        if url != LOGO_URL:
            raise ValueError(f"{url} is not part of this paper.")
        return URLFetcherResponse(url, self.logo, {"Content-Type": "image/png"})
