"""Commands of training, in order of use: ``python -m prepcheck.train scenes | renders | fit | pictures | calibrate | card``."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    options = _parser().parse_args(arguments)
    return int(COMMANDS[options.command](options))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m prepcheck.train", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    scenes = commands.add_parser("scenes", help="make packed scenes")
    scenes.add_argument("folder", type=Path)
    scenes.add_argument("--first-seed", type=int, default=0)
    scenes.add_argument("--count", type=int, default=3000)
    scenes.add_argument("--size", type=int, nargs=2, default=(768, 1024), metavar=("ROWS", "COLUMNS"))
    scenes.add_argument("--workers", type=int, default=2)
    scenes.add_argument("--seconds", type=float, default=3600)
    renders = commands.add_parser("renders", help="make physically based renders (needs Mitsuba)")
    renders.add_argument("folder", type=Path)
    renders.add_argument("--first-seed", type=int, default=0)
    renders.add_argument("--count", type=int, default=1000)
    renders.add_argument("--size", type=int, nargs=2, default=(768, 1024), metavar=("ROWS", "COLUMNS"))
    renders.add_argument("--workers", type=int, default=2, help="worker k uses GPU k modulo the number of GPUs")
    renders.add_argument("--seconds", type=float, default=3600)
    renders.add_argument("--samples", type=int, default=24, help="paths a pixel")
    renders.add_argument("--variant", choices=("cuda_ad_rgb", "llvm_ad_rgb"), default="cuda_ad_rgb")
    develop = commands.add_parser("develop", help="photograph renders into an evaluation folder")
    develop.add_argument("renders", type=Path)
    develop.add_argument("folder", type=Path)
    fit = commands.add_parser("fit", help="fit the net, going on from a checkpoint if it exists")
    fit.add_argument("scenes", type=Path)
    fit.add_argument("checkpoint", type=Path)
    fit.add_argument("--photos", type=Path, default=Path("no-photos"))
    fit.add_argument("--seconds", type=float, default=240)
    fit.add_argument("--rate", type=float, default=2e-3)
    fit.add_argument("--seed", type=int, default=0)
    fit.add_argument("--batch", type=int, default=24)
    fit.add_argument("--steps", type=int, default=10**9)
    fit.add_argument("--crop", type=int, default=512)
    fit.add_argument("--rigs", type=int, default=3000, help="lights drawn in advance")
    fit.add_argument("--settle", type=int, default=40, help="batches for settling (0: keep what the checkpoint has)")
    fit.add_argument("--settled", action="store_true", help="settle batch norm first, then freeze it")
    fit.add_argument("--workers", type=int, default=4)
    fit.add_argument("--from", dest="start", type=Path, default=None)
    fit.add_argument("--wait", type=int, default=1, help="scenes to wait for before the first step")
    calibrate = commands.add_parser(
        "calibrate", help="choose temperatures, the sure threshold and the interval; export"
    )
    calibrate.add_argument("checkpoint", type=Path)
    calibrate.add_argument("pictures", type=Path, help="folder of held-out pictures (see `pictures`)")
    calibrate.add_argument("--out", type=Path, default=Path("models"))
    calibrate.add_argument("--name", default="eye-1")
    pictures = commands.add_parser("pictures", help="make held-out pictures as an evaluation folder")
    pictures.add_argument("folder", type=Path)
    pictures.add_argument("--first-seed", type=int, default=9_000_000)
    pictures.add_argument("--count", type=int, default=120)
    pictures.add_argument("--size", type=int, nargs=2, default=(768, 1024), metavar=("ROWS", "COLUMNS"))
    card = commands.add_parser("card", help="add facts and measured figures to a model's card")
    card.add_argument("card", type=Path)
    card.add_argument("figures", type=Path, nargs="?", default=None, help="JSON of measured figures")
    return parser


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
    print(f"{made} scenes in {options.folder}, {failed} failed")  # noqa: T201
    return 1 if failed else 0


def _develop(options: argparse.Namespace) -> int:
    from prepcheck.train.renders import develop

    print(f"{develop(options.renders, options.folder)} pictures made in {options.folder}")  # noqa: T201
    return 0


def _fit(options: argparse.Namespace) -> int:
    import time

    import torch

    from prepcheck.train.fit import Fit, Plan, load, save
    from prepcheck.train.net import Eye

    torch.manual_seed(options.seed)
    start = options.checkpoint if options.checkpoint.exists() else options.start
    eye, notes = load(start) if start else (Eye(), {"runs": []})
    while len(list(options.scenes.glob("*.npy"))) < options.wait:
        time.sleep(1)
    plan = Plan(
        options.seconds, options.scenes, options.photos, rate=options.rate, seed=options.seed, batch=options.batch,
        full_batch=max(1, options.batch // 3), real_batch=max(1, options.batch // 4), steps=options.steps,
        crop=options.crop, rigs=options.rigs, workers=options.workers,
        settle=options.settle,
    )  # fmt: skip
    run = Fit(eye, plan, torch.device("cuda" if torch.cuda.is_available() else "cpu"), settled=options.settled)
    steps = run.run()
    notes["runs"].append(
        {"steps": steps, "scenes": len(run.stock.scenes), "seed": options.seed, "seconds": options.seconds}
    )
    save(options.checkpoint, run.average, notes)
    print(json.dumps(notes))  # noqa: T201
    return 0


def _pictures(options: argparse.Namespace) -> int:
    from prepcheck.train.pictures import make_pictures

    make_pictures(options.folder, options.first_seed, options.count, (options.size[0], options.size[1]))
    return 0


def _calibrate(options: argparse.Namespace) -> int:
    from prepcheck.train.calibrate import calibrate

    print(json.dumps(calibrate(options.checkpoint, options.pictures, options.out, options.name)))  # noqa: T201
    return 0


def _card(options: argparse.Namespace) -> int:
    from prepcheck.train.card import write_card

    write_card(options.card, options.figures)
    return 0


COMMANDS = {
    "scenes": _scenes,
    "renders": _renders,
    "develop": _develop,
    "fit": _fit,
    "pictures": _pictures,
    "calibrate": _calibrate,
    "card": _card,
}

if __name__ == "__main__":
    sys.exit(main())
