"""What a model's card says beside its calibration: data, groups, figures, losses, limits, credits, how to retrain.

Figures are copied from the files that ``prepcheck evaluate FOLDER --out DIR`` writes, never by hand; groups and losses are
read from them.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from prepcheck.errors import WrongUse
from prepcheck.train.real import HELD_OUT_OF

FACTS: dict[str, Any] = {
    "input": "image: 1 x 3 x H x W float32, RGB, sRGB-encoded 0..1; H and W multiples of 32, long side up to 1280",
    "output": "maps: 1 x 8 x H/2 x W/2 float32; 0 to 5: chance of the states 0 to 5; 6: weld bead or heat tint;"
    " these seven"
    " sum to 1; 7: chance of lying inside a ground spot",
    "licence": "Apache-2.0",
    "data": {
        "synthetic": "2,131 prepcheck.synth scenes (768 x 1024), six of ten that have spots framed on them, lit anew and their"
        " materials varied at every use, and 1,223 Mitsuba renders of such scenes whose three lights are mixed anew at every"
        " use; surroundings painted or captured, camera drawn anew; the fit goes on from the exported weights of eye-6, in a"
        " net that has grown deeper (two residual blocks at stride 16, one at stride 8) and narrower at half size (8 channels"
        " of 12 kept); eye-6: 2,274 scenes, 1,170 renders; eye-4: 3,600 and 2,600; eye-3: 4,200 and 2,200; eye-2: 3,400 and"
        " 1,700",
        "training_seeds": "43000 to 45130 (scenes), 622000 to 623222 (renders), 24300 to 24323 (pictures to restore the"
        " batch norms on); eye-6: 40000 to 42273, 620000 to 621169; eye-4: 25000 to 28599, 603000 to 605599; eye-3: 20000 to"
        " 24199, 600000 to 602199; eye-2: 0 to 3399, 500000 to 501699",
        "held_out_seeds": "9000200 to 9000279 and 9000400 to 9000559 for calibration, 9000300 to 9000399 for the figures"
        " (768 x 1024), never trained on",
        "photographs": "472 photographs with labelled regions (shared/photo_regions.npz, which also has maps of those held out"
        " and of a few that were not at hand) and points, by partial labels; of all labelled"
        f" ones, groups by kind of part were held out (one in {HELD_OUT_OF}, by hash)",
        "encoder": "first eleven blocks of EfficientNet-Lite0, published weights learned on ImageNet"
        " (Apache-2.0), fitted on",
    },
    "credits": [
        "150 photographs: valvers/valvers.website.src, (c) 2011-2020 Brian Sidebotham, MIT",
        "75 photographs: mikegcox/vintagemoto, (c) 2017 Mike Cox, MIT",
        "33 photographs: atelierduverdier/printnc-build, Christophe Crouay (Atelier du Verdier), CC BY-SA 4.0",
        "33 photographs: IRNAS/irnas.github.io, Institute IRNAS, CC BY-SA 4.0",
        "24 photographs: micahhsu/micahhsu.github.io, micahhsu (repository owner), CC0 1.0",
        "23 photographs: neRok00/mq-patrol, mq-patrol wiki contributors (neRok00), CC0 1.0 (by the site's footer)",
        "23 photographs: open-dynamic-robot-initiative/open_robot_actuator_hardware, New York University and"
        " Max Planck Gesellschaft, BSD 3-Clause",
        "16 photographs: alesti/cluster-in-a-box, alesti, CC BY-SA 4.0",
        "16 photographs: Espresso-Aficionados/website, Espresso Aficionados, MIT",
        "16 photographs: millerj870/millerj870.github.io, millerj870 (repository owner), CC0 1.0",
        "15 photographs: monome/docs, monome, CC BY 4.0",
        "13 photographs: EthanRosenthal/boat-website, (c) 2023 Ethan Rosenthal, MIT",
        "13 photographs: FarmBot-Docs/farmbot-express, FarmBot Docs, 2020, MIT",
        "12 photographs: djmitche/tipsycat.org, Dustin J. Mitchell, 2014, MIT",
        "12 photographs: psas/lv3.0-airframe, Portland State Aerospace Society, 2014, BSD-2-Clause",
        "12 photographs: tolgakurt/my-custom-cnc, Tolga Kurt, MIT",
        "9 photographs: ONEARMY/precious-plastic, Precious Plastic (One Army), CC BY-SA 4.0 (six of them from where it says"
        " Creative Commons Attribution)",
        "8 photographs: icooper/iandoesracing, CC BY-SA 4.0",
        "7 photographs: hughpyle/ASR33, Hugh Pyle, 2014-2019, MIT",
        "7 photographs: TerryHowe/JeepTech, Terry Howe, 2019, MIT",
        "5 photographs: machineagency/science-jubilee, Machine Agency, MIT",
        "5 photographs: ONEARMY/academy, One Army, CC BY-SA 4.0",
        "5 photographs: Open-Lab-Starter-Kit/OLSK-Large-CNC, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "5 photographs: poppy-project/poppy-docs, Poppy Project, CC BY-SA 4.0",
        "5 photographs: puzrin/reflow_micro.discarded, Vitaly Puzrin, 2019, MIT",
        "4 photographs: Open-Lab-Starter-Kit/OLSK-Small-3D-Printer, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "4 photographs: Open-Lab-Starter-Kit/OLSK-Small-Laser, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "3 photographs: darrowco/kdx175, Unlicense (public domain)",
        "3 photographs: freesideatlanta/freeside-public, Freeside Atlanta, Apache 2.0",
        "3 photographs: kachurovskiy/nanoels, Maxim Kachurovskiy, MIT",
        "3 photographs: Open-Lab-Starter-Kit/OLSK-Large-3D-Printer, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "3 photographs: Open-Lab-Starter-Kit/OLSK-Vinyl-Cutter, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "2 photographs: Nate711/StanfordDoggoProject, Nathan Kau, 2019, MIT",
        "2 photographs: Open-Lab-Starter-Kit/OLSK-Small-CNC, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "2 photographs: opensourceimaging/cosi-measure, Open Source Imaging (repository owner), CERN-OHL-W-2.0",
        "2 photographs: Roger-random/Sawppy_Rover, Roger Cheng, 2018, MIT",
        "1 photograph: beroset/pet_resto, E. Beroset, Apache 2.0",
        "1 photograph: Open-Lab-Starter-Kit/OLSK-3D-Scanner, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "1 photograph: Open-Lab-Starter-Kit/OLSK-Large-Laser, Open Lab Starter Kit / InMachines, CC BY-SA 4.0",
        "1 photograph: terraform-industry/machine-shop-tutorials, terraform-industry / Johanness A. Nilsson, CC"
        " BY-SA 4.0",
        "1 photograph: wpilibsuite/frc-docs, WPILib / frc-docs contributors, CC BY 4.0",
        "8 textures: ambientCG, by way of SimonWadsack/SimonWadsack.github.io, CC0",
        "6 textures: Poly Haven, by way of N8python/wirehouse, CC0",
    ],
    "must_not_be_used_for": [
        "releasing a part for welding: a photo shows neither the native oxide film nor anything below the surface",
        "telling which metal it is: bright steel looks like bright aluminium",
        "any decision without a person looking at the spot",
    ],
    "limits": [
        "below some of the floors that were agreed on: see losses",
        "small patches and thin grey oxide in the relief are often taken for metal; on the fitted scenes themselves 0.84 of the"
        " oxide and 0.91 of the bright metal was told right at the end (eye-6: 0.85 and 0.93, on scenes of its own)",
        "more room did not help: a large net fitted beside, from whose answers this one learned (10.9 million parameters with"
        " this one's 1.2 million, on which it stands; prepcheck/train/teacher.py), told no more of the training pictures:"
        " oxide 0.84 and bright metal 0.91 after 1,900 steps, 0.83 and 0.92 after 5,390, the small one just the same",
        "maps are blurred at the edges of patches: on unfamiliar renders, where all is told, 0.54 of the residue nearer than 2 px"
        " to bright metal (in a photo of 1280 px) is found and 0.69 of that at 2 to 4 px, which together are 0.31 of all residue;"
        " from 16 px on 0.93 and more. A likely cause: the truth of the fitted scenes is smoothed over 0.3 mm",
        "more photographs did not help either: it tells 0.94 of the points on photographs it was fitted on and 0.80 on 129 held"
        " out (balanced accuracy); a fit that went on from it with 590 photographs (and other light on them, photographs without"
        " labels, the mean of two ends) told 0.79 there and 0.70 on the 19, one with 559 and other scenes 0.64 on the 19",
        "calibrated on pictures of 1024 px as they are; since then photos from 800 px on are enlarged for it, own too: see"
        " the figures for what the interval holds now",
        "what counts as lighter or duller is judged photo by photo: on unfamiliar renders whole photos lean one way (looked into"
        " with eye-6)",
        "plain, clean sheet in real photographs is often taken for something that is not the work (0.14 of all points on 19"
        " photographs; eye-6: 0.20)",
        "pits on steel are not found; small pits on aluminium are often missed",
        "a few pictures of other things are mapped as bright metal; flags or the interval keep them from the standing bright",
        "the interval was calibrated on 202 synthetic pictures, as they are and degraded: fitted on one half it held 0.91 to"
        " 0.98 of the other; on renders of another make it holds fewer (see figures)",
    ],
    "retrain": [
        "python -m prepcheck.train scenes SCENES --first-seed 43000 --count 2131 --workers N",
        "python -m prepcheck.train renders RENDERS --first-seed 622000 --count 1223 --workers N",
        "python -m prepcheck.train pictures NORMS --first-seed 24300 --count 24",
        "python -m prepcheck.train restore eye-6 eye.pt NORMS PHOTOS (every eighteenth of the photographs)",
        "python -m prepcheck.train fit eye.pt --scenes SCENES RENDERS, on one H200, in four runs: --taught --part 0 0.36"
        " --seconds 500 --seed 81 (1,910 steps) and --taught --part 0.36 0.4 --seconds 50 --seed 82 (80), both without"
        " photographs; with --photos PHOTOS --regions shared/photo_regions.npz"
        " --taught --part 0.4 0.84 --seconds 520 --seed 83 (3,400) and, without the large net, --part 0.84 1 --seconds 210"
        " --seed 84 (1,970); all with --rendered 0.4 --ring 2600 --refresh 0.8 --rate 1.6e-3 --encoder-rate 4e-4",
        "python -m prepcheck.train pictures HELD --first-seed 9000200 --count 80, and --first-seed 9000400 --count 160",
        "python -m prepcheck.train calibrate eye.pt HELD --out models --name NAME",
        "prepcheck evaluate FOLDER --model NAME --by --baselines --out FIGURES/FOLDER",
        "prepcheck evaluate --outside --model NAME --out FIGURES/outside",
        "python -m prepcheck.train card models/NAME.json FIGURES",
    ],
}


SECTIONS = (
    "data", "groups", "figures", "outside", "losses", "limits", "must_not_be_used_for", "retrain", "licence", "credits",
)  # fmt: skip
"""What every card has; a section with nothing in it says so."""

FLOORS: dict[str, dict[str, tuple[float, bool]]] = {
    "maps": {
        "balanced accuracy": (0.85, True),
        "coverage": (0.90, True),
        "patch recall": (0.80, True),
        "false patches a photo": (2.0, False),
        "spot IoU": (0.90, True),
        "bright-share error": (0.05, False),
        "interval holds the truth": (0.85, True),
        "interval width": (0.20, False),
        "calibration error": (0.04, False),
    },
    "points": {
        "coverage": (0.80, True),
        "balanced accuracy of points": (0.80, True),
        "wrongly bright": (0.10, False),
        "residue found": (0.70, True),
    },
}
"""Agreed before training, by kind of labels: the least (True) or most (False) that a figure may be before it"
" counts as a loss."""


_ROWS = re.compile(r"\[[-\s\d.,eE+nul]*\]")
"""Lists of numbers, which are kept on one line each."""


def write_card(card: Path, figures: Path | None) -> None:
    """Complete a card: facts, and figures, groups and losses from what was measured; its calibration stays as it is.

    Parameters
    ----------
    card : Path
        ``models/NAME.json`` as calibration left it.
    figures : Path or None
        A folder whose folders were each written by ``prepcheck evaluate --out`` (one of them with ``--outside``); None
        leaves the figures as they are.

    Raises
    ------
    WrongUse
        There are no figures, or they were measured with another model.
    """
    said = json.loads(card.read_text(encoding="utf-8")) | FACTS
    if figures is not None:
        said |= _measured(figures, said["export"]["sha256"])
    said |= {section: "nothing said" for section in SECTIONS if not said.get(section)}
    card.write_text(_ROWS.sub(_on_a_line, json.dumps(said, indent=1)) + "\n", encoding="utf-8")


def _on_a_line(row: re.Match[str]) -> str:
    return re.sub(r"\s+", " ", row[0]).replace("[ ", "[").replace(" ]", "]")


def _measured(folder: Path, sha256: str) -> dict[str, Any]:
    results, outside = _read(folder, "figures.json"), _read(folder, "outside.json")
    if not results:
        raise WrongUse("holds no NAME/figures.json", "Write them with prepcheck evaluate --out", str(folder))
    made_with = {name: made["origin"]["model_sha256"] for name, made in results.items()}
    made_with |= {name: made["model_sha256"] for name, made in outside.items()}
    if others := [name for name, used in made_with.items() if used != sha256]:
        raise WrongUse(f"{', '.join(others)}: measured with another model", "Measure again with this one", str(folder))
    return {
        "figures": {name: _compact(made) for name, made in results.items()},
        "groups": {name: _sizes(made["parts"]) for name, made in results.items()},
        "outside": {name: _fooled(made["pictures"]) for name, made in outside.items()} or "not looked at",
        "losses": [loss for name, made in results.items() for loss in _losses(name, made)] or ["none found"],
    }


def _read(folder: Path, file: str) -> dict[str, Any]:
    return {path.parent.name: json.loads(path.read_text("utf-8")) for path in sorted(folder.glob(f"*/{file}"))}


def _fooled(pictures: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Sum up pictures that show no work: how many stand `bright`, and which would if the map were taken at its word."""
    return {
        "pictures": len(pictures),
        "standings": dict(Counter(one["standing"] for one in pictures)),
        "standing_bright": [f"{one['kind']}, {one['name']}" for one in pictures if one["standing"] == "bright"],
        "bright_by_map_alone": [f"{one['kind']}, {one['name']}" for one in pictures if one["by_map"] == "bright"],
    }


def _compact(made: Mapping[str, Any]) -> dict[str, Any]:
    """Keep each figure as [value, low, high]; leave the counts behind."""
    overall = made["overall"]
    return {
        "kind": made["kind"],
        "photos": overall["photos"],
        "scenes": overall["groups"],
        "origin": made["origin"],
        "seconds_a_photo": made["seconds"],
        "all": _triples(overall["figures"]),
        "standings": overall["standings"],
        "called_bright": overall["bright"],
        "by": {
            key: {value: {"photos": part["photos"], **_triples(part["figures"])} for value, part in parts.items()}
            for key, parts in made["parts"].items()
        },
        "rules": {rule: {**_triples(reached), "seconds_a_photo": s} for rule, (reached, s) in made["rules"].items()},
        "causes": made["causes"],
    }


def _triples(figures: Mapping[str, Mapping[str, float]]) -> dict[str, Any]:
    return {name: [_short(one[end]) for end in ("value", "low", "high")] for name, one in figures.items()}


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _sizes(parts: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, int]]:
    return {key: {value: part["photos"] for value, part in values.items()} for key, values in parts.items()}


def _losses(name: str, made: Mapping[str, Any]) -> Iterator[str]:
    """Say where the figures miss a floor, where a simple rule does better, and what dirty photo was called bright."""
    reached = made["overall"]["figures"]
    for measure, (floor, least) in FLOORS.get(made["kind"], {}).items():
        value = reached.get(measure, {}).get("value")
        if value is not None and (value < floor if least else value > floor):
            yield f"{name}: {measure} {value:.4f}, agreed {'at least' if least else 'at most'} {floor:g}"
    for rule, (figures, _) in made["rules"].items():
        yield from (f"{name}: {rule} has the better {m} ({figures[m]['value']:.3f})" for m in _better(figures, reached))
    for truly in ("dirty", "without a spot"):
        if fooled := made["overall"]["standings"].get(truly, {}).get("bright", 0):
            yield f"{name}: {fooled} photos that are truly {truly} called bright"


def _better(rule: Mapping[str, Any], ours: Mapping[str, Any]) -> list[str]:
    """Return the measures in which a rule, given the true ground area, beats the tool, which is given nothing."""
    pairs = [(m, one["value"], ours[m]["value"], FLOORS["maps"][m][1]) for m, one in rule.items()]
    known = [(m, a, b, more) for m, a, b, more in pairs if a is not None and b is not None]
    return [m for m, a, b, more in known if (a > b if more else a < b)]
