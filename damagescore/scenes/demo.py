"""The demo photos: one fictional overhaul shop, one test stand, four part numbers.

Nothing in them shows a real part. The damage is drawn to show each kind at least once, in
easy and in hard light, and two photos are bad on purpose.
"""

from damagescore.scenes.spec import (
    BulgeSpec,
    CameraSpec,
    CrackSpec,
    CrumblingSpec,
    DistractorSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
)


def demo_specs() -> tuple[SceneSpec, ...]:
    """All demo photos in the order of the demo's README."""
    return (*_flat_specs(), *_hard_specs(), *_round_specs(), *_profile_specs(), *_bad_specs())


def _flat_specs() -> tuple[SceneSpec, ...]:
    """Flat face, plain light."""
    return (
        SceneSpec(
            name="hv2210-01-cracks",
            title="HV-2210 after 600 h on test stand 3: branched crack and a short check",
            camera=CameraSpec(px_per_mm=25, yaw_deg=6, pitch_deg=4, roll_deg=0.8),
            stack=StackSpec(rubber_layers=6, rubber_mm=3.6, shim_mm=0.6),
            light=LightSpec(azimuth_deg=125, elevation_deg=38, direct=0.6, kelvin=4700),
            mark=MarkSpec(ids=(40, 41)),
            cracks=(
                CrackSpec(layer=4, s_mm=6, length_mm=38, width_mm=0.42, branches=1),
                CrackSpec(layer=8, s_mm=-18, length_mm=13, width_mm=0.18),
                CrackSpec(
                    layer=0,
                    kind="surface_check",
                    s_mm=22,
                    length_mm=2.3,
                    width_mm=0.18,
                    heading_deg=112,
                    kinks=0,
                ),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv2210-02-bond-gaps",
            title="HV-2210 after 900 h: two bond gaps along shims",
            camera=CameraSpec(px_per_mm=27, yaw_deg=-5, pitch_deg=6, roll_deg=-0.6),
            stack=StackSpec(
                rubber_layers=6,
                rubber_mm=3.3,
                shim_mm=0.55,
                rubber="dark_grey",
                shim="satin",
                plate="grey_paint",
            ),
            light=LightSpec(azimuth_deg=80, elevation_deg=50, direct=0.5),
            mark=MarkSpec(kind="apriltag_36h11", ids=(7, 12)),
            bench="laminate",
            cracks=(
                CrackSpec(
                    layer=6, kind="bond_line", s_mm=-9, length_mm=24, width_mm=0.3, kinks=0
                ),
                CrackSpec(
                    layer=4,
                    kind="bond_line",
                    s_mm=17,
                    length_mm=11,
                    width_mm=0.2,
                    at_top=False,
                    kinks=0,
                ),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv2210-03-crumbling",
            title="HV-2210 after 1400 h: crumbling in the lowest and a middle layer",
            camera=CameraSpec(px_per_mm=25.5, yaw_deg=-7, pitch_deg=5, roll_deg=0.5),
            stack=StackSpec(rubber_layers=6, rubber_mm=3.7, shim_mm=0.6, smears=1.4),
            light=LightSpec(azimuth_deg=100, elevation_deg=45, direct=0.45),
            mark=MarkSpec(ids=(40, 41)),
            bench="cloth",
            crumbling=(
                CrumblingSpec(layer=0, s_mm=12, length_mm=17, share=0.9),
                CrumblingSpec(layer=6, s_mm=-20, length_mm=8, share=0.7),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv2210-04-sound",
            title="HV-2210 new, test stand 3, 0 h: no damage; mould lines, fibres and chalk",
            camera=CameraSpec(px_per_mm=26, yaw_deg=3, pitch_deg=7, roll_deg=-0.4),
            stack=StackSpec(rubber_layers=6, rubber_mm=3.5, plate="turned", smears=0.7),
            light=LightSpec(azimuth_deg=60, elevation_deg=40, direct=0.6, kelvin=4300),
            mark=MarkSpec(ids=(40, 41)),
            distractors=DistractorSpec(
                fibres=4, dark_hairs=2, scratches=4, flash_ridges=3, chalk=1
            ),
            sensor=SensorSpec(noise=0.6),
        ),
    )


def _hard_specs() -> tuple[SceneSpec, ...]:
    """Flat face, harder light, other materials, and one large photo."""
    return (
        SceneSpec(
            name="hv3105-05-rule",
            title="HV-3105 after 800 h: cracks in a lamp's shadow edge, steel rule",
            camera=CameraSpec(px_per_mm=27, yaw_deg=4, pitch_deg=5, roll_deg=-0.9),
            stack=StackSpec(
                rubber_layers=7,
                rubber_mm=2.8,
                shim_mm=0.6,
                rubber="bloomed",
                shim="dull",
                plate="blue_paint",
                dust=1.4,
            ),
            light=LightSpec(
                azimuth_deg=35, elevation_deg=30, direct=0.75, kelvin=4000, shadow_line=0.4
            ),
            mark=MarkSpec(kind="steel_rule", size_mm=1.0, spacing_mm=60.0),
            bench="pale_wood",
            cracks=(
                CrackSpec(layer=2, s_mm=-14, length_mm=32, width_mm=0.34, branches=1),
                CrackSpec(layer=8, s_mm=15, length_mm=19, width_mm=0.2, kinks=2),
                CrackSpec(
                    layer=10, kind="bond_line", s_mm=8, length_mm=15, width_mm=0.26, kinks=0
                ),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv3105-06-faint",
            title="HV-3105 close-up under raking light: faint cracks",
            camera=CameraSpec(px_per_mm=46, yaw_deg=3, pitch_deg=6, distance_mm=210),
            stack=StackSpec(
                rubber_layers=6,
                rubber_mm=2.6,
                shim_mm=0.5,
                rubber="warm_grey",
                shim="warm",
                plate="black_anodised",
                plate_below_mm=13.0,
            ),
            light=LightSpec(azimuth_deg=165, elevation_deg=18, direct=0.8, kelvin=5800),
            mark=MarkSpec(ids=(42, 43), size_mm=5.0, spacing_mm=29.0, margin_mm=3.0),
            bench="mat",
            pieces=1,
            cracks=(
                CrackSpec(layer=4, s_mm=-3, length_mm=17, width_mm=0.1, faint=True),
                CrackSpec(layer=8, s_mm=9, length_mm=9, width_mm=0.09, faint=True, kinks=2),
                CrackSpec(
                    layer=6,
                    kind="surface_check",
                    s_mm=-12,
                    length_mm=1.7,
                    width_mm=0.1,
                    heading_deg=80,
                    kinks=0,
                ),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv3105-07-mixed",
            title="HV-3105 after 2100 h, 12-megapixel photo: cracks, a bond gap and crumbling",
            camera=CameraSpec(
                size_px=(4000, 3000), px_per_mm=45, yaw_deg=-6, pitch_deg=5, roll_deg=0.4
            ),
            stack=StackSpec(
                rubber_layers=8,
                rubber_mm=2.9,
                shim_mm=0.5,
                rubber="soft_black",
                shim="bright",
                plate="ground",
            ),
            light=LightSpec(azimuth_deg=140, elevation_deg=42, direct=0.55, glare=0.78),
            mark=MarkSpec(ids=(40, 41)),
            bench="granite",
            cracks=(
                CrackSpec(layer=6, s_mm=8, length_mm=42, width_mm=0.45, branches=2, kinks=2),
                CrackSpec(
                    layer=10, kind="bond_line", s_mm=-16, length_mm=20, width_mm=0.28, kinks=0
                ),
                CrackSpec(layer=2, s_mm=-20, length_mm=15, width_mm=0.2, heading_deg=3),
            ),
            crumbling=(CrumblingSpec(layer=12, s_mm=14, length_mm=15, share=0.85),),
            distractors=DistractorSpec(chalk=1, dark_hairs=1),
            sensor=SensorSpec(blur_px=1.25, noise=0.8, jpeg_quality=86),
            oversample=1.2,
        ),
    )


def _round_specs() -> tuple[SceneSpec, ...]:
    """Cylindrical edges."""
    return (
        SceneSpec(
            name="hv1418-08-round-cracks",
            title="HV-1418 (radius 32 mm) after 700 h: crack and bond gap, two dots",
            camera=CameraSpec(px_per_mm=26, yaw_deg=2, pitch_deg=6),
            stack=StackSpec(
                rubber_layers=6, rubber_mm=3.0, shim_mm=0.55, radius_mm=32, plate="turned"
            ),
            light=LightSpec(azimuth_deg=150, elevation_deg=42, direct=0.6),
            mark=MarkSpec(kind="two_dots", size_mm=20.0),
            bench="wood",
            backdrop="shelves",
            cracks=(
                CrackSpec(layer=4, s_mm=3, length_mm=26, width_mm=0.38, branches=1),
                CrackSpec(
                    layer=8, kind="bond_line", s_mm=-9, length_mm=14, width_mm=0.28, kinks=0
                ),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv1418-09-round-brown",
            title="HV-1418 (radius 60 mm), brown compound: crumbling and an oblique crack",
            camera=CameraSpec(px_per_mm=24, yaw_deg=-4, pitch_deg=8, roll_deg=0.7),
            stack=StackSpec(
                rubber_layers=8,
                rubber_mm=2.3,
                shim_mm=0.5,
                radius_mm=60,
                rubber="brown",
                shim="satin",
                plate="gold_anodised",
            ),
            light=LightSpec(azimuth_deg=70, elevation_deg=48, direct=0.55, kelvin=4800),
            mark=MarkSpec(ids=(40,), size_mm=10.0),
            bench="blue_cloth",
            backdrop="dark",
            cracks=(
                CrackSpec(
                    layer=10, s_mm=-14, length_mm=4.0, width_mm=0.2, heading_deg=32, kinks=0
                ),
                CrackSpec(layer=4, s_mm=12, length_mm=18, width_mm=0.3),
            ),
            crumbling=(
                CrumblingSpec(layer=6, s_mm=-6, length_mm=12, share=0.85, grain_mm=0.35),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
    )


def _profile_specs() -> tuple[SceneSpec, ...]:
    """Silhouettes under load on the stand."""
    return (
        SceneSpec(
            name="hv1418-10-profile-bulges",
            view="profile",
            title="HV-1418 under load, profile: three bulged layers",
            camera=CameraSpec(px_per_mm=36, pitch_deg=1.2, distance_mm=300),
            stack=StackSpec(
                rubber_layers=6,
                rubber_mm=2.6,
                shim_mm=0.5,
                radius_mm=32,
                rubber="dark_grey",
                shim="warm",
                plate_below_mm=12,
            ),
            light=LightSpec(azimuth_deg=150, elevation_deg=45, direct=0.45),
            mark=MarkSpec(kind="apriltag_36h11", ids=(11,)),
            backdrop="bright",
            pieces=0,
            bulges=(
                BulgeSpec(layer=2, peak_mm=1.3),
                BulgeSpec(layer=4, peak_mm=0.9),
                BulgeSpec(layer=6, peak_mm=0.4),
            ),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv2210-11-profile-recess",
            view="profile",
            title="HV-2210 under load, profile: one bulged and one receding layer",
            camera=CameraSpec(px_per_mm=30, pitch_deg=1.8, distance_mm=300, roll_deg=0.6),
            stack=StackSpec(
                rubber_layers=6, rubber_mm=3.4, shim_mm=0.6, plate="blasted", plate_below_mm=13
            ),
            light=LightSpec(azimuth_deg=140, elevation_deg=35, direct=0.55, kelvin=4600),
            mark=MarkSpec(ids=(41,)),
            backdrop="wall",
            bench="laminate",
            pieces=1,
            bulges=(BulgeSpec(layer=4, peak_mm=0.8), BulgeSpec(layer=8, peak_mm=-0.5)),
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv1418-12-profile-sound",
            view="profile",
            title="HV-1418 unloaded, profile: no bulge",
            camera=CameraSpec(px_per_mm=34, pitch_deg=1.0, distance_mm=320),
            stack=StackSpec(
                rubber_layers=7,
                rubber_mm=2.3,
                shim_mm=0.5,
                radius_mm=45,
                plate="ground",
                plate_below_mm=12,
            ),
            light=LightSpec(azimuth_deg=120, elevation_deg=50, direct=0.5, kelvin=5000),
            mark=MarkSpec(ids=(40,)),
            backdrop="bright",
            bench="pale_wood",
            pieces=2,
            sensor=SensorSpec(noise=0.7),
        ),
    )


def _bad_specs() -> tuple[SceneSpec, ...]:
    """Photos that must be warned about or refused."""
    stack = StackSpec(rubber_layers=6, rubber_mm=3.5, shim_mm=0.6)
    cracks = (
        CrackSpec(layer=8, s_mm=4, length_mm=28, width_mm=0.38),
        CrackSpec(layer=2, kind="bond_line", s_mm=-12, length_mm=14, width_mm=0.28, kinks=0),
    )
    return (
        SceneSpec(
            name="hv2210-13-bad-card",
            title="HV-2210, card leaning on the bench 16 mm in front of the face and turned",
            camera=CameraSpec(px_per_mm=25, yaw_deg=-5, pitch_deg=5),
            stack=stack,
            light=LightSpec(azimuth_deg=110, elevation_deg=45, direct=0.5),
            mark=MarkSpec(ids=(40, 41), standoff_mm=16.0, turn_deg=36.0, spacing_mm=34.0),
            bench="laminate",
            cracks=cracks,
            verdict="warn",
            reason="the card stands 16 mm in front of the face and is turned by 36 degrees",
            sensor=SensorSpec(noise=0.7),
        ),
        SceneSpec(
            name="hv2210-14-bad-focus",
            title="HV-2210, out of focus",
            camera=CameraSpec(px_per_mm=25, yaw_deg=4, pitch_deg=4),
            stack=stack,
            light=LightSpec(azimuth_deg=110, elevation_deg=45, direct=0.5),
            mark=MarkSpec(ids=(40, 41)),
            cracks=cracks,
            verdict="refuse",
            reason="out of focus: edges are blurred over about 20 pixels (0.8 mm)",
            sensor=SensorSpec(noise=0.7, blur_px=8.0, jpeg_quality=86),
        ),
    )
