"""Where the picture and the maps of each photo go."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from prepcheck.errors import NameClash, WrongUse
from prepcheck.inspection import Inspection
from prepcheck.record import Record
from prepcheck.report.maps import write_maps
from prepcheck.report.picture import draw_picture, write_picture


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
    def of(cls, photos: list[Path], *, maps: Path | None, picture: Path | None) -> Outputs:
        """Check, before work starts, that each output has a place of its own.

        Raises
        ------
        NameClash
            Two inputs have one name without suffix (letter case aside), so their output files would be the same.
        WrongUse
            One picture file is named for several photos.
        """
        folder = picture is not None and (picture.is_dir() or picture.suffix == "")
        if picture is not None and not folder and len(photos) > 1:
            raise WrongUse("one picture file cannot hold several photos", "Name a folder with --picture", str(picture))
        if maps is not None or folder:
            _refuse_clashes(photos)
        return cls(maps, picture, folder)

    @property
    def wanted(self) -> bool:
        """Whether anything is to be written."""
        return self.maps is not None or self.picture is not None

    def write(self, inspection: Inspection, record: Record, *, job_line: str | None, when: str | None) -> list[Path]:
        """Write what was asked for and return the files."""
        written = []
        if self.picture is not None:
            states = inspection.surface.states
            drawn = draw_picture(record, inspection.photo.rgb, states, job_line=job_line, when=when)
            path = self.picture / f"{Path(record.photo.name).stem}.marked.jpg" if self.several else self.picture
            write_picture(path, drawn)
            written.append(path)
        if self.maps is not None:
            written += write_maps(self.maps, inspection)
        return written


def _refuse_clashes(photos: list[Path]) -> None:
    seen: dict[str, Path] = {}
    for photo in photos:
        if (other := seen.setdefault(photo.stem.casefold(), photo)) is not photo:
            raise NameClash(f"would write the same output files as {other.name}", "Inspect them apart", photo.name)
