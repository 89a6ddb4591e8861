"""``GET /inspections/{later}/over/{earlier}.jpg``: a photo of a spot laid over an earlier one, to compare them by a slider."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from fastapi import APIRouter
from fastapi.responses import Response

from prepcheck.errors import UnknownRecord
from prepcheck.photo import from_bytes
from prepcheck.photo.align import NotAligned, align, ready
from prepcheck.settings import Settings
from prepcheck.store.placed import placed
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pictures import Shown, jpeg
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
_LONG = 1280


@router.get("/inspections/{later}/over/{earlier}.jpg")
def over(shop: TheShop, desk: AtDesk, later: int, earlier: int) -> Response:
    """Return the later photo in the frame of the earlier one."""
    picture = laid_over(shop, earlier, later)
    if isinstance(picture, str):
        raise UnknownRecord(
            f"cannot be laid over inspection {earlier}: {picture}", "Compare side by side", f"inspection {later}"
        )
    return Response(picture, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})


def laid_over(shop: Shop, earlier: int, later: int) -> bytes | str:
    """Return the later photo in the frame of the earlier one as JPEG, or why it cannot be laid there."""
    first, other = placed(shop.store, earlier), placed(shop.store, later)
    if (first.job, first.spot) != (other.job, other.spot):
        return "they are of different spots"
    before, after = (shop.pictures.get(number, Shown.PHOTO, _LONG) for number in (earlier, later))
    return lay(before, after, shop.settings)


@lru_cache(maxsize=8)
def lay(before: bytes, after: bytes, settings: Settings) -> bytes | str:
    """Return the photo `after` in the frame of the photo `before`, both JPEG, or why it does not lie there."""
    first, other = (from_bytes(data, "photo", settings) for data in (before, after))
    lies = align(ready(first, settings), other, settings)
    if isinstance(lies, NotAligned):
        return lies.reason
    drawn = cv2.warpPerspective(other.rgb, lies.matrix, (first.width, first.height), flags=cv2.INTER_LINEAR)
    return jpeg(np.asarray(drawn, np.uint8))
