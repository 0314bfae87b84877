"""Renderer, lens and reflectances: against closed forms and the spectra they come from."""

from __future__ import annotations

import math

import numpy as np
import pytest

from first_bread.lens import bloom, depth_of_field
from first_bread.light import gather_light, light_at
from first_bread.records import BRICK, PLAIN
from first_bread.reflectances import REFLECTANCE, ROW
from first_bread.scene import Scene, View
from first_bread.sound import location_sound

VIEW = View((0.0, 0.0, -4.0), (0.0, 0.0, 0.0), 60, 4.0)


def _scene() -> Scene:
    scene = Scene("shop", VIEW, 1.0, (0.0, 0.0, 0.0))
    scene.ball(PLAIN, (0, -50, 0), (1, 1, 1), "grey18")
    return scene


@pytest.mark.slow
def test_even_sky_lights_a_card_evenly() -> None:
    """Under a sky of radiance 1 all round above, a level card gets a light of exactly 1."""
    scene = _scene()
    scene.sky[0] = scene.sky[1] = 1.0
    steady, fire = light_at(scene.world(), np.zeros(3), np.array([0.0, 1.0, 0.0]), 64)
    assert steady == pytest.approx((1.0, 1.0, 1.0), abs=1e-9)
    assert fire == (0.0, 0.0, 0.0)


@pytest.mark.slow
def test_small_lamp_follows_the_inverse_square_law() -> None:
    """A small lamp square above a card gives radiance x area / (pi d^2), and none when shaded."""
    lit = []
    for distance in (1.0, 2.0):
        scene = _scene()
        side = ((0.01, 0, 0), (0, 0, 0.01))
        scene.light((0, distance, 0), *side, (0, -1, 0), (math.pi * 2500.0,) * 3)
        steady, _ = light_at(scene.world(), np.zeros(3), np.array([0.0, 1.0, 0.0]), 16)
        lit.append(steady[0])
    assert lit == pytest.approx([1.0, 0.25], rel=5e-3)  # rays start 2 mm above the card
    scene.box(PLAIN, (0, 1.0, 0), (0.2, 0.01, 0.2), "grey18")
    steady, _ = light_at(scene.world(), np.zeros(3), np.array([0.0, 1.0, 0.0]), 16)
    assert steady == (0.0, 0.0, 0.0)


@pytest.mark.slow
def test_first_pass_finds_the_nearest_shape() -> None:
    """Ball, box and arch are hit where geometry says; the hole of the arch shows what is behind."""
    scene = _scene()
    scene.box(BRICK, (0, 0, 2), (3, 3, 0.1), "brick")
    arch = {"arch_half": 0.5, "arch_floor": -0.5, "arch_spring": 0.5}
    scene.box(BRICK, (0, 0, 1), (3, 3, 0.1), "brick", **arch)
    scene.ball(PLAIN, (0.9, 0, 0), (0.3, 0.3, 0.3), "grey18")
    points = np.zeros((9, 9, 7), np.float32)
    light = np.zeros((9, 9, 9), np.float32)
    gather_light(scene.world(), scene.camera(1.0), (0, 0, 9, 9), 1, -1, points, light)
    assert points[4, 4, 2] == pytest.approx(1.9, abs=1e-5)  # through the arch to the wall
    assert points[0, 4, 2] == pytest.approx(0.9, abs=1e-5)  # the arch's own front
    ball = points[points[..., 6] == 3]
    assert len(ball) > 0
    away = np.linalg.norm(ball[:, :3] - (0.9, 0.0, 0.0), axis=1)
    assert away == pytest.approx(np.full(len(ball), 0.3), abs=1e-5)


@pytest.mark.slow
def test_lens_keeps_light() -> None:
    """An even picture stays even, and what is in focus stays sharp."""
    even = np.full((72, 128, 3), 0.5, np.float32)
    far = np.full((72, 128), 0.05, np.float32)
    assert bloom(depth_of_field(even, far, 1.0, 0.05)) == pytest.approx(even, rel=1e-5)
    detail = np.random.default_rng(1).random((72, 128, 3), np.float32)
    sharp = np.full((72, 128), 0.25, np.float32)
    assert np.array_equal(detail, depth_of_field(detail, sharp, 4.0, 0.05))


def test_every_place_has_every_reflectance() -> None:
    """Tables agree in their rows, and nothing reflects more than it receives."""
    for table in REFLECTANCE.values():
        assert list(ROW) == list(table)
        assert 0.0 < np.min(list(table.values())) < np.max(list(table.values())) < 1.0
    assert all(table["grey18"] == [0.18, 0.18, 0.18] for table in REFLECTANCE.values())


@pytest.mark.oracle
@pytest.mark.slow
def test_reflectances_come_from_their_spectra() -> None:
    """Colours derived anew from the spectra in colour-science are those in the table."""
    from first_bread.derive_reflectances import tables
    from first_bread.reflectances import LAMP

    derived = tables()
    for kind, kept in (("reflectance", REFLECTANCE), ("lamp", LAMP)):
        for place, table in kept.items():
            for name, colour in table.items():
                assert colour == pytest.approx(derived[kind][place][name], abs=2e-4), name


def test_sound_levels() -> None:
    """The murmur lies near -26 dBFS RMS; the loud clip is limited at full scale."""
    quiet = location_sound("shop", False, np.random.default_rng(5), 2.0) / 32767.0
    loud = location_sound("shop", True, np.random.default_rng(5), 2.0)
    assert 20 * np.log10(quiet.std()) == pytest.approx(-26.0, abs=0.5)
    assert np.abs(loud).max() == 32767
