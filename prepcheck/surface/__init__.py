"""`Photo` to `SurfaceMap`: what each place of the picture shows, and how sure that is."""

from prepcheck.surface.mapping import map_surface
from prepcheck.surface.model import Model, load_model
from prepcheck.surface.shop_fit import ShopFit
from prepcheck.surface.surface_map import ModelOrigin, SurfaceMap, showing

__all__ = ["Model", "ModelOrigin", "ShopFit", "SurfaceMap", "load_model", "map_surface", "showing"]
