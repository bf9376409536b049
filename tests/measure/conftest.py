"""What tests of measuring share."""

from __future__ import annotations

import pytest

from audit.sight.readings import read_cables
from audit.sight.strands import find_strands
from audit.sight.types import Readings
from tests.sight.drawn import fitting


@pytest.fixture(scope="package")
def reading() -> Readings:
    """A drawn fitting with 3 mm of copper, as it is read; frozen, so that tests may share it."""
    drawing = fitting(copper_mm=3.0)
    image = drawing.image()
    strands, materials = find_strands(drawing.map(), image)
    return read_cables(image, materials, strands)
