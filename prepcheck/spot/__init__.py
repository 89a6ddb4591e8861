"""`SurfaceMap` to ground spots: outline, mask, reading order; or none, with a reason."""
