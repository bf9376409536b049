from __future__ import annotations

import inspect
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage import color

from audit.photo import colour

# Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary
# test data, and mathematical observations", Color Research & Application 30 (2005) 21-30,
# table 1: L1 a1 b1 L2 a2 b2 difference. The oracle package's own tests are read beside it (below).
SHARMA = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 2.8361 -74.0200 50 0 -82.7485 3.4412
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 -1.1848 -84.8006 50 0 -82.7485 1.0000
50 -0.9009 -85.5211 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 -1 2 50 0 0 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0010 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 2.4900 -0.0010 50 -2.4900 0.0012 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0010 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0011 -2.4900 4.7461
50 2.5 0 50 0 -2.5 4.3065
50 2.5 0 73 25 -18 27.1492
50 2.5 0 61 -5 29 22.8977
50 2.5 0 56 -27 -3 31.9030
50 2.5 0 58 24 15 19.4535
50 2.5 0 50 3.1736 0.5854 1.0000
50 2.5 0 50 3.2972 0 1.0000
50 2.5 0 50 1.8634 0.5757 1.0000
50 2.5 0 50 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
TABLE = np.array([[float(v) for v in row.split()] for row in SHARMA.strip().splitlines()])


def test_ciede2000_on_the_34_published_pairs() -> None:
    assert TABLE.shape == (34, 7)
    got = colour.ciede2000(TABLE[:, :3], TABLE[:, 3:6])
    np.testing.assert_allclose(got, TABLE[:, 6], atol=1e-4)  # the table has four decimals
    swapped = colour.ciede2000(TABLE[:, 3:6], TABLE[:, :3])
    np.testing.assert_allclose(swapped, TABLE[:, 6], atol=1e-4)


@pytest.mark.filterwarnings("ignore")
def test_the_table_is_that_of_the_oracle_package() -> None:
    """colour-science carries the same table in its own tests; typing errors would show."""
    module = pytest.importorskip("colour.difference.tests.test_delta_e")
    text = inspect.getsource(module)
    held = {round(float(v), 4) for v in re.findall(r"-?\d+\.\d+", text)}
    missing = [v for v in np.unique(TABLE[:, [0, 1, 2, 3, 4, 5]]) if round(float(v), 4) not in held]
    assert missing == []


def test_srgb_constants_of_iec_61966_2_1() -> None:
    """Values of IEC 61966-2-1 as tabulated in colour-science 0.4.7."""
    assert float(colour.decode_srgb(0.5)) == pytest.approx(0.2140411, abs=5e-8)
    assert float(colour.encode_srgb(0.18)) == pytest.approx(0.4613561, abs=5e-8)
    assert float(colour.decode_srgb(0.04045)) == pytest.approx(0.04045 / 12.92)
    np.testing.assert_allclose(
        colour.RGB_TO_XYZ,
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]],
    )
    # Primaries and white point of the standard (x, y) follow from the matrix.
    columns = colour.RGB_TO_XYZ / colour.RGB_TO_XYZ.sum(axis=0)
    np.testing.assert_allclose(columns[:2].T, [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], atol=5e-4)
    white = colour.RGB_TO_XYZ.sum(axis=1)
    np.testing.assert_allclose(white[:2] / white.sum(), [0.3127, 0.3290], atol=5e-4)


@pytest.mark.filterwarnings("ignore")
def test_against_colour_science() -> None:
    oracle = pytest.importorskip("colour")
    values = np.random.default_rng(3).random((200, 3))
    linear = oracle.models.eotf_sRGB(values)
    np.testing.assert_allclose(colour.decode_srgb(values), linear, atol=1e-7)
    white = np.array([0.3127, 0.3290])
    lab = oracle.XYZ_to_Lab(oracle.sRGB_to_XYZ(values), illuminant=white)
    np.testing.assert_allclose(colour.linear_to_lab(linear), lab, atol=0.03)


def test_lab_against_scikit_image_and_the_fast_way() -> None:
    rgb = np.random.default_rng(4).integers(0, 256, (40, 50, 3), dtype=np.uint8)
    expected = color.rgb2lab(rgb)
    np.testing.assert_allclose(
        colour.linear_to_lab(colour.srgb_to_linear(rgb)), expected, atol=0.03
    )
    np.testing.assert_allclose(colour.lab_image(rgb), expected, atol=0.15)


def test_eight_bit_round_trip_is_exact() -> None:
    every = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(colour.linear_to_srgb(colour.srgb_to_linear(every)), every)
    assert colour.srgb_to_linear(every).dtype == np.float32


@given(st.floats(0, 1), st.floats(0, 1))
def test_decoding_rises_and_inverts(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert colour.decode_srgb(low) <= colour.decode_srgb(high)
    assert float(colour.encode_srgb(colour.decode_srgb(one))) == pytest.approx(one, abs=1e-7)
