"""prepcheck: a second pair of eyes on ground aluminium before welding.

It says where residual oxide is left in a photo, how sure it is, and keeps the evidence. It never says that a weld
may start: a photo shows neither the native oxide film nor anything below the surface.
"""

__version__ = "0.1.0"
