"""`Photo` to `SurfaceMap`: what each place of the picture shows, and how sure that is."""

from prepcheck.surface.surface_map import ModelOrigin, SurfaceMap

__all__ = ["ModelOrigin", "SurfaceMap"]
