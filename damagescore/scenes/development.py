"""Scenes for development: tune on these, and never on the checking scenes."""

from dataclasses import replace

from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.variety import VarietyTable, draw_spec


def development_table() -> VarietyTable:
    """Ranges of the development scenes."""
    return VarietyTable(
        rubber=("black", "dark_grey", "warm_grey", "brown"),
        shim=("bright", "dull"),
        plate=("ground", "blue_paint", "scale", "gold_anodised"),
        bench=("wood", "granite", "cloth", "laminate"),
        backdrop=("wall", "bright"),
        mark_ids=tuple(range(20)),
        rubber_layers=(5, 7, 9, 11),
        rubber_mm=((1.9, 2.4), (3.0, 3.5)),
        shim_mm=((0.44, 0.58),),
        radius_mm=((25.0, 40.0),),
        px_per_mm=((22.0, 27.0), (35.0, 41.0)),
        yaw_deg=((0.0, 6.0),),
        pitch_deg=((2.0, 6.0),),
        kelvin=((4300.0, 5400.0),),
        azimuth_deg=((95.0, 150.0),),
        elevation_deg=((32.0, 52.0),),
        direct=((0.45, 0.6),),
        noise=((0.5, 1.1),),
        blur_px=((0.6, 0.8),),
        waviness_mm=((0.02, 0.05),),
        dust=((0.5, 1.2),),
    )


def development_specs(
    count: int, *, size_px: tuple[int, int] = (2200, 1650)
) -> tuple[SceneSpec, ...]:
    """Draw the first `count` development scenes; a longer list begins with a shorter one."""
    table = development_table()
    return tuple(
        draw_spec(table, i, name=f"dev-{i:03d}", seed=2000, size_px=size_px)
        for i in range(count)
    )


def hard_table() -> VarietyTable:
    """Harsher than both other sets, and apart from the checking set in every range too."""
    return VarietyTable(
        rubber=("black", "dark_grey", "warm_grey", "brown"),
        shim=("bright", "dull"),
        plate=("ground", "blue_paint", "scale", "gold_anodised"),
        bench=("wood", "granite", "cloth", "laminate"),
        backdrop=("wall", "bright"),
        mark_ids=tuple(range(20)),
        rubber_layers=(3, 7, 11, 13, 14),
        rubber_mm=((1.0, 1.15), (1.85, 2.45), (4.05, 4.6)),
        shim_mm=((0.28, 0.31), (0.43, 0.6), (0.96, 1.1)),
        radius_mm=((25.0, 44.0), (81.0, 95.0)),
        px_per_mm=((18.0, 27.0), (35.0, 41.0), (56.0, 60.0)),
        yaw_deg=((0.0, 6.5), (18.5, 22.0)),
        pitch_deg=((1.0, 6.5), (15.5, 18.0)),
        kelvin=((2400.0, 2850.0), (4200.0, 5500.0), (7300.0, 8500.0)),
        azimuth_deg=((0.0, 14.0), (86.0, 180.0)),
        elevation_deg=((9.0, 14.5), (29.0, 57.0), (76.0, 88.0)),
        direct=((0.1, 0.24), (0.42, 0.63), (0.87, 0.95)),
        noise=((0.3, 1.1), (2.3, 3.0)),
        blur_px=((0.4, 0.8), (1.15, 1.4)),
        waviness_mm=((0.0, 0.05), (0.13, 0.16)),
        dust=((0.0, 0.05), (0.5, 1.3), (2.1, 2.6)),
    )


def hard_specs(count: int, *, size_px: tuple[int, int] = (2200, 1650)) -> tuple[SceneSpec, ...]:
    """Draw the first `count` hard scenes, for development too."""
    table = hard_table()
    return tuple(
        draw_spec(table, i, name=f"hard-{i:03d}", seed=3000, size_px=size_px)
        for i in range(count)
    )


def broad_table() -> VarietyTable:
    """Many more materials and backdrops than the other two, at ranges of both.

    Measuring code that is developed on few looks holds on those few only; nothing here is
    in the checking set either.
    """
    plain, hard = development_table(), hard_table()
    return replace(
        hard,
        rubber=(*plain.rubber, "deep_black", "green_black", "slate", "ash", "tan", "patchy"),
        shim=(*plain.shim, "frosted", "polished", "brassy", "blued", "rusty"),
        plate=(
            *plain.plate,
            "milled",
            "cast",
            "white_paint",
            "red_paint",
            "passivated",
            "phosphated",
        ),
        bench=(*plain.bench, "cork", "paper", "slate_top", "red_cloth", "brushed"),
        backdrop=(
            *plain.backdrop,
            "night",
            "dusk",
            "metal_grey",
            "racks",
            "lamps",
            "panels",
            "slope",
        ),
        rubber_layers=(3, 5, 7, 9, 11, 13, 14),
        rubber_mm=((1.0, 1.15), (1.85, 2.45), (2.95, 3.55), (4.05, 4.6)),
        px_per_mm=((20.0, 27.5), (34.5, 41.5), (55.5, 60.0)),
        noise=((0.3, 1.15), (2.25, 2.8)),
    )


def broad_specs(
    count: int, *, size_px: tuple[int, int] = (2200, 1650)
) -> tuple[SceneSpec, ...]:
    """Draw the first `count` broad scenes, for development too."""
    table = broad_table()
    return tuple(
        draw_spec(table, i, name=f"broad-{i:03d}", seed=4000, size_px=size_px)
        for i in range(count)
    )
