"""Seeded synthetic photographs of ground spots on aluminium, with exact truth.

The surface layers, the lighting model and the camera model need numpy and OpenCV only, so that tests, samples and
documentation pictures can be made wherever the program runs. Physics and sources are named in the modules:
:mod:`~prepcheck.synth.marks` (tool marks), :mod:`~prepcheck.synth.shade` (reflection), :mod:`~prepcheck.synth.camera`.
"""

from prepcheck.synth.picture import Picture, make_picture
from prepcheck.synth.scene import Recipe, make_surface, sample_recipe

__all__ = ["Picture", "Recipe", "make_picture", "make_surface", "sample_recipe"]
