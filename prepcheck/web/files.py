"""Files that a browser asks for without a session: the service worker, and the shop's certificate authority."""

from __future__ import annotations

from pathlib import Path

from fastapi import APIRouter, Response
from fastapi.responses import FileResponse

from prepcheck.web.certificate import authority_der
from prepcheck.web.errors import UnknownPage
from prepcheck.web.shop import PAGE_FOLDER, TheShop

STATIC = Path(__file__).with_name("static")
router = APIRouter()


@router.get("/sw.js")
def service_worker() -> FileResponse:
    """Return the service worker, at the root so that it may answer for all pages."""
    return FileResponse(STATIC / "sw.js", media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/authority.crt")
def authority(shop: TheShop) -> Response:
    """Return the certificate of the shop's authority, for a phone to install."""
    data = authority_der(shop.folder / PAGE_FOLDER)
    if data is None:
        what, do = "this shop has no certificate authority", "Start the page with https"
        raise UnknownPage(what, do, command="prepcheck serve --https")
    name = 'attachment; filename="prepcheck-authority.crt"'
    return Response(data, media_type="application/x-x509-ca-cert", headers={"Content-Disposition": name})
