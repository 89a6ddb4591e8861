"""Commands of training, in order: ``python -m prepcheck.train scenes | renders | photos | fit | pictures | calibrate | card``.

``sets`` and ``sequences`` make folders of moved-light sets and of spots ground again and again; ``moved`` fits the net that sees
the photos of a set together, behind an eye.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = _parser().parse_args(arguments)
    return COMMANDS[options.command].run(options)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m prepcheck.train", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    for name, command in COMMANDS.items():
        command.add_options(commands.add_parser(name, help=command.what))
    return parser


def _numbered(
    parser: argparse.ArgumentParser, count: int, first_seed: int | None = 0, size: tuple[int, int] = (768, 1024)
) -> None:
    """Options of what is made by seeds, one after the other; without ``first_seed`` it must be typed."""
    parser.add_argument("folder", type=Path)
    parser.add_argument("--first-seed", type=int, default=first_seed, required=first_seed is None)
    parser.add_argument("--count", type=int, default=count)
    parser.add_argument("--size", type=int, nargs=2, default=size, metavar=("ROWS", "COLUMNS"))


def _scenes_options(scenes: argparse.ArgumentParser) -> None:
    _numbered(scenes, count=3000)
    scenes.add_argument("--workers", type=int, default=2)
    scenes.add_argument("--seconds", type=float, default=3600)


def _renders_options(renders: argparse.ArgumentParser) -> None:
    _numbered(renders, count=1000)
    renders.add_argument("--workers", type=int, default=2, help="worker k uses GPU k modulo the number of GPUs")
    renders.add_argument("--seconds", type=float, default=3600)
    renders.add_argument("--samples", type=int, default=24, help="paths a pixel")
    renders.add_argument("--variant", choices=("cuda_ad_rgb", "llvm_ad_rgb"), default="cuda_ad_rgb")


def _develop_options(develop: argparse.ArgumentParser) -> None:
    develop.add_argument("renders", type=Path)
    develop.add_argument("folder", type=Path)


def _photos_options(photos: argparse.ArgumentParser) -> None:
    photos.add_argument("clones", type=Path)
    photos.add_argument("folder", type=Path)
    photos.add_argument("--sources", type=Path, default=Path("shared/photo_sources.csv"))


def _fit_options(fit: argparse.ArgumentParser) -> None:
    fit.add_argument("checkpoint", type=Path)
    fit.add_argument("--scenes", type=Path, nargs="+", required=True, help="folders of packed or rendered scenes")
    fit.add_argument("--photos", type=Path, nargs="*", default=[], help="folders of labelled photographs")
    fit.add_argument("--regions", type=Path, default=None, help="archive of the photographs' label maps")
    fit.add_argument("--encoder", type=Path, default=None, help="published weights of the encoder, for a first run")
    fit.add_argument("--part", type=float, nargs=2, default=(0.0, 1.0), help="which part of the whole fit this run is")
    fit.add_argument("--seconds", type=float, default=240)
    fit.add_argument("--steps", type=int, default=10**9)
    fit.add_argument("--rate", type=float, default=2e-3)
    fit.add_argument("--encoder-rate", type=float, default=6e-4)
    fit.add_argument("--seed", type=int, default=0)
    fit.add_argument("--workers", type=int, default=6)
    fit.add_argument("--rigs", type=int, default=3000, help="lights drawn in advance")
    fit.add_argument("--ring", type=int, default=3000, help="lit pictures kept on the device")
    fit.add_argument("--refresh", type=float, default=1.0, help="pictures lit anew at every step")
    fit.add_argument("--rendered", type=float, default=0.4, help="share of rendered scenes")
    fit.add_argument("--taught", action="store_true", help="fit a large net beside, from which the small one learns")
    fit.add_argument("--smaller", type=int, default=1, help="divide counts and sizes of windows, for a small machine")
    fit.add_argument("--everything", action="store_true", help="fit on the held-out photographs too")


def _moved_options(moved: argparse.ArgumentParser) -> None:
    moved.add_argument("checkpoint", type=Path, help="gone on from if it exists")
    moved.add_argument("--eye", type=Path, required=True, help="checkpoint of the eye that maps each photo")
    moved.add_argument(
        "--card", type=Path, default=None, help="card of the exported eye: its temperature, its prior of oxide"
    )
    moved.add_argument("--scenes", type=Path, nargs="+", required=True, help="folders of packed or rendered scenes")
    moved.add_argument("--seconds", type=float, default=400)
    moved.add_argument("--steps", type=int, default=10**9)
    moved.add_argument("--rate", type=float, default=2e-3)
    moved.add_argument("--seed", type=int, default=0)
    moved.add_argument("--workers", type=int, default=6)
    moved.add_argument("--sets", type=int, default=6, help="sets of a batch")
    moved.add_argument("--ring", type=int, default=800, help="lit sets kept on the device")
    moved.add_argument("--refresh", type=float, default=1.0, help="sets lit anew at every step")
    moved.add_argument("--rendered", type=float, default=0.3, help="share of rendered scenes")
    moved.add_argument("--rooms", type=int, default=2000, help="rooms drawn in advance")
    moved.add_argument("--smaller", type=int, default=1, help="divide sets and ring, for a small machine")


def _restore_options(restore: argparse.ArgumentParser) -> None:
    restore.add_argument("name", help="of the model, in the folder of models")
    restore.add_argument("checkpoint", type=Path)
    restore.add_argument("pictures", type=Path, nargs="+", help="folders of pictures that may be trained on")
    restore.add_argument("--models", type=Path, default=Path("models"))


def _calibrate_options(calibrate: argparse.ArgumentParser) -> None:
    calibrate.add_argument("checkpoint", type=Path)
    calibrate.add_argument("pictures", type=Path, help="folder of held-out pictures (see `pictures`)")
    calibrate.add_argument("--out", type=Path, default=Path("models"))
    calibrate.add_argument("--name", default="eye-1")


def _pictures_options(pictures: argparse.ArgumentParser) -> None:
    _numbered(pictures, count=120, first_seed=9_000_000)


def _several_options(several: argparse.ArgumentParser) -> None:
    _numbered(several, count=100, first_seed=None, size=(960, 1280))


def _card_options(card: argparse.ArgumentParser) -> None:
    card.add_argument("card", type=Path)
    card.add_argument("figures", type=Path, nargs="?", default=None, help="JSON of measured figures")


def _scenes(options: argparse.Namespace) -> int:
    from prepcheck.train.pool import make_scenes

    size = (options.size[0], options.size[1])
    print(make_scenes(options.folder, options.first_seed, options.count, size, options.workers, options.seconds))  # noqa: T201
    return 0


def _renders(options: argparse.Namespace) -> int:
    from prepcheck.train.renders import make_renders

    size = (options.size[0], options.size[1])
    made, failed = make_renders(
        options.folder, options.first_seed, options.count, size, options.workers, options.seconds, options.variant,
        options.samples,
    )  # fmt: skip
    print(f"{made} scenes in {options.folder}, {failed} not made")  # noqa: T201
    return 1 if failed else 0


def _develop(options: argparse.Namespace) -> int:
    from prepcheck.train.renders import develop

    print(f"{develop(options.renders, options.folder)} pictures made in {options.folder}")  # noqa: T201
    return 0


def _photos(options: argparse.Namespace) -> int:
    from prepcheck.train.lay_out import lay_out

    made, missing = lay_out(options.sources, options.clones, options.folder)
    print(f"{made} photographs in {options.folder}; no clone holds: {', '.join(missing) or 'none'}")  # noqa: T201
    return 1 if missing else 0


def _fit(options: argparse.Namespace) -> int:
    import torch

    from prepcheck.train.fit import Plan, fit

    plan = Plan(
        options.seconds, tuple(options.scenes), tuple(options.photos), options.regions, rate=options.rate,
        encoder_rate=options.encoder_rate, steps=options.steps, seed=options.seed, workers=options.workers,
        rigs=options.rigs, ring=options.ring, refresh=options.refresh, rendered=options.rendered,
        taught=options.taught, smaller=options.smaller, everything=options.everything, part=tuple(options.part),
    )  # fmt: skip
    ranks = max(1, torch.cuda.device_count())
    rest = (ranks, plan, options.checkpoint, options.encoder)
    if ranks == 1:
        fit(0, *rest)
    else:
        torch.multiprocessing.spawn(fit, rest, ranks)
    return 0


def _moved(options: argparse.Namespace) -> int:
    from prepcheck.train.moved_fit import Plan, fit_moved

    known = {} if options.card is None else json.loads(options.card.read_text(encoding="utf-8"))["calibration"]
    plan = Plan(
        options.seconds, tuple(options.scenes), options.eye, known.get("temperature", 1.0), known.get("oxide_bias", 0.0),
        rate=options.rate, steps=options.steps, seed=options.seed, workers=options.workers, sets=options.sets,
        ring=options.ring, refresh=options.refresh, rendered=options.rendered, rooms=options.rooms,
        smaller=options.smaller,
    )  # fmt: skip
    fit_moved(plan, options.checkpoint)
    return 0


def _restore(options: argparse.Namespace) -> int:
    from prepcheck.train.restore import restore

    pictures = [path for folder in options.pictures for path in sorted(folder.rglob("*.jpg"))]
    card = options.models / f"{options.name}.json"
    restore(card.with_suffix(".onnx"), card, pictures, options.checkpoint)
    return 0


def _pictures(options: argparse.Namespace) -> int:
    from prepcheck.train.pictures import make_pictures

    make_pictures(options.folder, options.first_seed, options.count, (options.size[0], options.size[1]))
    return 0


def _several(options: argparse.Namespace) -> int:
    from prepcheck.train.lay_out_sets import make_sequences, make_sets

    make = make_sets if options.command == "sets" else make_sequences
    make(options.folder, options.first_seed, options.count, (options.size[0], options.size[1]))
    return 0


def _calibrate(options: argparse.Namespace) -> int:
    from prepcheck.train.calibrate import calibrate

    print(json.dumps(calibrate(options.checkpoint, options.pictures, options.out, options.name)))  # noqa: T201
    return 0


def _card(options: argparse.Namespace) -> int:
    from prepcheck.train.card import write_card

    write_card(options.card, options.figures)
    return 0


class Command(NamedTuple):
    """One command: what its help says, its options, and what it runs."""

    what: str
    add_options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


COMMANDS = {
    "scenes": Command("make packed scenes", _scenes_options, _scenes),
    "renders": Command("make physically based renders (needs Mitsuba)", _renders_options, _renders),
    "develop": Command("photograph renders into an evaluation folder", _develop_options, _develop),
    "photos": Command("lay out the photographs to fit on, from clones of their repositories", _photos_options, _photos),
    "fit": Command("fit the net, going on from a checkpoint if it exists", _fit_options, _fit),
    "moved": Command("fit the net that sees a moved-light set together", _moved_options, _moved),
    "restore": Command("make a checkpoint to go on from out of an exported model", _restore_options, _restore),
    "calibrate": Command(
        "choose temperatures, the sure threshold and the interval; export", _calibrate_options, _calibrate
    ),
    "pictures": Command("make held-out pictures as an evaluation folder", _pictures_options, _pictures),
    "sets": Command("make moved-light sets as an evaluation folder", _several_options, _several),
    "sequences": Command("make spots ground again and again as an evaluation folder", _several_options, _several),
    "card": Command("add facts and measured figures to a model's card", _card_options, _card),
}

if __name__ == "__main__":
    sys.exit(main())
