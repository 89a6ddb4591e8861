"""`SurfaceMap` to ground spots: outline, mask, reading order; or none, with a reason."""

from prepcheck.spot.spot import NoSpot, Spot, drawn_spots, find_spots, touches_edge

__all__ = ["NoSpot", "Spot", "drawn_spots", "find_spots", "touches_edge"]
