"""Scenes for checking: no nuisance of theirs is in the range of the development scenes."""

from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.variety import VarietyTable, draw_spec


def checking_table() -> VarietyTable:
    """Ranges of the checking scenes."""
    return VarietyTable(
        rubber=("soft_black", "blue_black", "grey", "bloomed", "dark_brown"),
        shim=("satin", "warm", "tarnished"),
        plate=("turned", "blasted", "grey_paint", "green_paint", "primer", "black_anodised"),
        bench=("pale_wood", "steel", "mat", "blue_cloth"),
        backdrop=("dark", "shelves"),
        mark_ids=tuple(range(20, 40)),
        rubber_layers=(4, 6, 8, 10, 12, 15),
        rubber_mm=((1.2, 1.8), (2.5, 2.9), (3.6, 4.0)),
        shim_mm=((0.32, 0.42), (0.62, 0.95)),
        radius_mm=((20.0, 24.0), (45.0, 80.0)),
        px_per_mm=((28.0, 34.0), (42.0, 55.0)),
        yaw_deg=((7.0, 18.0),),
        pitch_deg=((7.0, 15.0),),
        kelvin=((2900.0, 4100.0), (5600.0, 7200.0)),
        azimuth_deg=((15.0, 85.0),),
        elevation_deg=((15.0, 28.0), (58.0, 75.0)),
        direct=((0.25, 0.4), (0.65, 0.85)),
        noise=((1.2, 2.2),),
        blur_px=((0.85, 1.1),),
        waviness_mm=((0.06, 0.12),),
        dust=((0.1, 0.4), (1.4, 2.0)),
    )


def checking_specs(
    count: int, *, size_px: tuple[int, int] = (2200, 1650)
) -> tuple[SceneSpec, ...]:
    """Draw the first `count` checking scenes; a longer list begins with a shorter one."""
    table = checking_table()
    return tuple(
        draw_spec(table, i, name=f"chk-{i:03d}", seed=5000, size_px=size_px)
        for i in range(count)
    )
