"""Where the picture and the maps of each photo go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

from prepcheck.errors import NameClash, WrongUse
from prepcheck.inspection import Inspection
from prepcheck.record import Record
from prepcheck.report.files import make_folder
from prepcheck.report.maps import map_files, write_maps
from prepcheck.report.picture import draw_picture, picture_format, write_picture


@dataclass(frozen=True)
class Outputs:
    """The output places of one call.

    Parameters
    ----------
    maps : Path or None
        Folder for the maps.
    picture : Path or None
        File of the marked picture, or the folder for ``NAME.marked.jpg`` when `several`.
    several : bool
        Whether `picture` is a folder.
    """

    maps: Path | None = None
    picture: Path | None = None
    several: bool = False

    @classmethod
    def of(cls, photos: list[Path], *, maps: Path | None, picture: Path | None, beside: Sequence[Path] = ()) -> Outputs:
        """Check, before work starts, that each output of `photos` has a place of its own and replaces no input.

        `beside` are inputs without outputs of their own: the other photos of a moved-light set.

        Raises
        ------
        NameClash
            Two inputs have one name without suffix (letter case aside), so their output files would be the same; or an
            output file would replace an input.
        CannotWrite
            An output folder cannot be made or written to.
        WrongUse
            One picture file is named for several photos, or a picture's suffix is unknown.
        """
        folder = picture is not None and (picture.is_dir() or picture.suffix == "")
        if picture is not None and not folder and len(photos) > 1:
            raise WrongUse("one picture file cannot hold several photos", "Name a folder with --picture", str(picture))
        if maps is not None or folder:
            _refuse_clashes(photos)
        outputs = cls(maps, picture, folder)
        outputs._check_places(photos, beside)
        return outputs

    @property
    def wanted(self) -> bool:
        """Whether anything is to be written."""
        return self.maps is not None or self.picture is not None

    def files(self, name: str) -> list[Path]:
        """Return the files that the photo `name` is going to have."""
        maps = [] if self.maps is None else map_files(self.maps, name)
        if self.picture is None:
            return maps
        return [self.picture / f"{Path(name).stem}.marked.jpg" if self.several else self.picture, *maps]

    def _check_places(self, photos: list[Path], beside: Sequence[Path]) -> None:
        files = [path for photo in photos for path in self.files(photo.name)]
        for photo, path in product([*photos, *beside], [path for path in files if path.exists()]):
            if photo.exists() and path.samefile(photo):
                raise NameClash("would be replaced by an output file", "Choose another place", str(photo))
        if self.picture is not None and not self.several:
            picture_format(self.picture)
        for folder in {path.parent for path in files}:
            make_folder(folder)

    def write(self, inspection: Inspection, record: Record, *, job_line: str | None, when: str | None) -> list[Path]:
        """Write what was asked for and return the files."""
        files = self.files(inspection.photo.name)
        if self.picture is not None:
            states = inspection.surface.states
            write_picture(files[0], draw_picture(record, inspection.photo.rgb, states, job_line=job_line, when=when))
        if self.maps is not None:
            write_maps(self.maps, inspection)
        return files


def _refuse_clashes(photos: list[Path]) -> None:
    seen: dict[str, Path] = {}
    for photo in photos:
        if (other := seen.setdefault(photo.stem.casefold(), photo)) is not photo:
            raise NameClash(f"would write the same output files as {other.name}", "Inspect them apart", photo.name)
