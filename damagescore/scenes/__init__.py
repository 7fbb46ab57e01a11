"""Photo-like scenes of laminated bearing edges with exact truth."""

from damagescore.scenes.checking import checking_specs
from damagescore.scenes.demo import demo_specs
from damagescore.scenes.development import development_specs
from damagescore.scenes.render import Scene, render, write_scene
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

__all__ = [
    "BulgeSpec",
    "CameraSpec",
    "CrackSpec",
    "CrumblingSpec",
    "DistractorSpec",
    "LightSpec",
    "MarkSpec",
    "Scene",
    "SceneSpec",
    "SensorSpec",
    "StackSpec",
    "checking_specs",
    "demo_specs",
    "development_specs",
    "render",
    "write_scene",
]
