"""Scenes for development: tune on these, and never on the checking scenes."""

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
