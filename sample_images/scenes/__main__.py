"""``python -m sample_images.scenes``: renders a benchmark set or the photos of a specification."""

from __future__ import annotations

import argparse
import sys
import tomllib
from pathlib import Path

from .damage import damaged
from .families import FAMILIES
from .plan import FittingPlan, PhotoPlan, from_spec
from .render import render_photo, set_plans


def _parser() -> argparse.ArgumentParser:
    p = argparse.ArgumentParser(prog="python -m sample_images.scenes", description=__doc__)
    what = p.add_mutually_exclusive_group(required=True)
    what.add_argument("--set", choices=FAMILIES, dest="family", help="benchmark set of this family")
    what.add_argument("--spec", type=Path, help="scene specification (SPEC.md)")
    p.add_argument("--out", type=Path, required=True, help="folder for photos and truth")
    p.add_argument("--count", type=int, default=84, help="photos of a set (default 84)")
    p.add_argument(
        "--first", type=int, default=0, help="number of the first photo of a set, from 0"
    )
    p.add_argument(
        "--damaged",
        action="store_true",
        help="with insulation missing along cores, and CPCs bare before their sleeves; names end in -damaged",
    )
    p.add_argument("--only", default="", help="only photos whose name holds this")
    p.add_argument(
        "--listed",
        type=Path,
        help="only photos whose names (without .jpg) stand in this file, one a line",
    )
    p.add_argument("--width", type=int, default=1600, help="px; height is three quarters of it")
    p.add_argument("--spp", type=int, default=5, help="samples a pixel before the denoiser")
    p.add_argument("--ids", action="store_true", help="also write ids maps for a specification")
    p.add_argument(
        "--no-denoise",
        action="store_true",
        help="leave the denoiser (pyoidn) out; use 128 samples or more",
    )
    p.add_argument("--again", action="store_true", help="render photos that are there already")
    return p


def _specified(spec: Path) -> list[tuple[FittingPlan, PhotoPlan]]:
    try:
        with spec.open("rb") as f:
            return from_spec(tomllib.load(f))
    except ValueError as e:  # TOML's errors are of this type, too
        raise ValueError(f"{spec}: {e}") from e


def _plans(args: argparse.Namespace) -> list[tuple[FittingPlan, PhotoPlan]]:
    plans = set_plans(args.family, args.count, args.first) if args.family else _specified(args.spec)
    if args.damaged:
        plans = [damaged(fplan, photo) for fplan, photo in plans]
    if args.listed is None:
        return plans
    wanted = set(args.listed.read_text(encoding="utf-8").split())
    if not wanted:
        raise ValueError(f"{args.listed}: names no photo")
    if unknown := wanted - {Path(photo.file).stem for _, photo in plans}:
        raise ValueError(f"{args.listed}: not among the photos: {', '.join(sorted(unknown))}")
    return [(f, photo) for f, photo in plans if Path(photo.file).stem in wanted]


def main(argv: list[str] | None = None) -> int:
    """Entry point; 0 done, 2 a wrong specification or list of photos."""
    args = _parser().parse_args(argv)
    try:
        plans = _plans(args)
    except (ValueError, OSError) as e:
        print(e, file=sys.stderr)
        return 2
    size = (args.width, args.width * 3 // 4)
    for fplan, photo in plans:
        done = args.out / f"{Path(photo.file).stem}.truth.json"
        if args.only not in photo.file or (
            done.exists() and (args.out / photo.file).exists() and not args.again
        ):
            continue
        truth = render_photo(
            fplan,
            photo,
            args.out,
            size,
            args.spp,
            bool(args.family) or args.ids,
            not args.no_denoise,
        )
        faults = [i for i in truth["items"] if i["fault"] and i["visible"] >= 0.3]
        print(
            photo.file,
            truth["seconds"],
            f"{len(faults)} faults seen of {len(truth['items'])} items",
            file=sys.stderr,
            flush=True,
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
