"""`lidoff checks`: the catalogue of checks, and one of them in full."""

from __future__ import annotations

import json

import click

from audit.errors import ExitCode, UsageError
from audit.rules.catalogue import TOPICS, catalogue, check
from audit.rules.reference import as_json, in_full, listing
from audit.rules.region import region_ids, shipped


@click.command()
@click.argument("check_id", metavar="[ID]", required=False)
@click.option(
    "--region", default="gb-eng", show_default=True, help="Region whose values are shown."
)
@click.option("--topic", type=click.Choice(list(TOPICS)), help="Only the checks of one subject.")
@click.option("--json", "json_out", is_flag=True, help="Write JSON instead of text.")
def command(check_id: str | None, region: str, topic: str | None, json_out: bool) -> int:
    """List the catalogue of checks, or tell the check ID in full.

    A check told in full has its question, why it matters, its source and how far
    that was verified, its weight, what it uses, how it is computed, and what
    evidence settles it.
    """
    if region not in region_ids():
        raise UsageError(
            f"there is no region {region!r}", next_step=f"one of {', '.join(region_ids())}"
        )
    found = shipped(region)
    if check_id is not None:
        one = check(check_id)
        click.echo(
            json.dumps(as_json(one, found), ensure_ascii=False, indent=2)
            if json_out
            else in_full(one, found)
        )
        return ExitCode.DONE
    if json_out:
        chosen = [c for c in catalogue().values() if topic in (None, c.topic)]
        rows = [as_json(c, found) for c in chosen]
        click.echo(json.dumps({"schema": "lidoff.checks/1", "region": region, "checks": rows},
                              ensure_ascii=False, indent=2))  # fmt: skip
    else:
        click.echo(listing(topic))
    return ExitCode.DONE
