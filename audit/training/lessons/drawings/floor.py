"""A floor cut through: what is rated against fire is the whole of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.rules.region import Region
from audit.training.lessons.drawings import svg

_X0, _X1 = 10.0, 350.0


def floor_section(data: Mapping[str, Any], _: Region, identity: str) -> str:
    """Section of a floor: `joists` (how many), `layers` of board, `rated` (hood or open hole).

    Two fittings: one closes its hole in a fire, the other leaves it open.
    """
    joists, layers = int(data["joists"]), int(data["layers"])
    deck, depth, board = 14.0, 92.0, 9.0
    top = 34.0
    under = top + deck + depth
    pitch = (_X1 - _X0 - 20) / (joists - 1)
    holes = [_X0 + 10 + pitch * 0.5, _X0 + 10 + pitch * (joists - 1.5)]
    body = [svg.words(_X0, 16, "room above"), svg.rect(_X0, top, _X1 - _X0, deck)]
    for n in range(joists):
        middle = _X0 + 10 + pitch * n
        body.append(svg.rect(middle - 8, top + deck, 16, depth, fill=f"url(#{identity}-s)"))
    edges = [_X0, *(e for h in holes for e in (h - 22, h + 22)), _X1]
    for n in range(layers):
        y = under + n * board
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            body.append(svg.rect(a, y, b - a, board, fill=f"url(#{identity}-o)"))
    low = under + layers * board
    body += _fitting(holes[0], under, low, hood=True)
    body += _fitting(holes[1], under, low, hood=False)
    body += [
        svg.words(holes[0], low + 24, "tested in this", anchor="middle"),
        svg.words(holes[0], low + 39, "floor: closes", anchor="middle"),
        svg.words(holes[1], low + 24, "not rated:", anchor="middle"),
        svg.words(holes[1], low + 39, "a way for fire", anchor="middle"),
        svg.words(_X0, low + 62, "room below"),
    ]
    for n, (pattern, text) in enumerate((("s", "joist"), ("o", "board"))):
        body.append(svg.key(130 + n * 90, low + 62, f"url(#{identity}-{pattern})", text))
    return svg.page(body, low + 74, identity)


def _fitting(x: float, under: float, low: float, *, hood: bool) -> list[str]:
    body = [svg.rect(x - 28, low, 56, 4, fill=svg.INK)]
    if hood:
        body.append(svg.rect(x - 20, under - 42, 40, low - under + 42, width=2.4))
    else:
        body.append(svg.rect(x - 13, under - 26, 26, low - under + 26, width=1.2))
        for dx in (-18, 18):
            up = [(x + dx, low - 4), (x + dx, under - 36)]
            body.append(svg.line(up, width=1.6, dash="3 3"))
            tip = [(x + dx - 4, under - 29), (x + dx, under - 37), (x + dx + 4, under - 29)]
            body.append(svg.line(tip, width=1.6))
    return body
